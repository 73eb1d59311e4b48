"""Whatever a person does to a run, in whatever order, it folds and goes on."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from app.job.facts import (
    CameraDisturbed,
    Entered,
    Entry,
    Exported,
    Fact,
    Homed,
    MirrorAccepted,
    Position,
    Prepared,
    Purpose,
    Restored,
    Retyped,
    Sighted,
    Struck,
)
from app.job.run import UNDONE, fold, undo
from app.job.sheet import (
    ConfirmMirror,
    Done,
    EnterOffsets,
    Export,
    HomeFirst,
    Prepare,
    SightScale,
    SightTool,
    next_step,
    sentence,
)
from app.job.snapshot import in_display_mm, snapshot_of
from tests.job.conftest import PaperMachine, make_profile

HIDDEN = {0: (0.0, 0.0), 1: (-0.34, 0.12), 2: (0.21, -0.5)}
EXPORTED = Exported(tools=(), settings_text="", moves_text="", warnings=(), algorithm="a")
NEAR = st.floats(-0.6, 0.6).map(lambda value: round(value, 2))


class RunOfAPerson(RuleBasedStateMachine):
    """Facts are only ever appended; all else is folded from them again each time."""

    def __init__(self) -> None:
        super().__init__()
        self.paper = PaperMachine(profile=make_profile(homes_between_tools=True), vectors_mm=HIDDEN)
        self.entries: list[Entry] = []
        self.add(self.paper.started())
        self.add(Prepared(ticked=("nozzles-cold",)))
        self.refold()

    def add(self, fact: Fact) -> None:
        number = len(self.entries) + 1
        self.entries.append(Entry(number=number, at=f"2026-11-25T10:{number:04d}", fact=fact))

    def refold(self) -> None:
        self.run = fold(self.entries)
        self.snapshot = snapshot_of(self.run)
        self.step = next_step(self.snapshot)

    def say(self, *facts: Fact) -> None:
        for fact in facts:
            self.add(fact)
        self.refold()

    def sight(self, tool: int, place: Position, purpose: Purpose) -> None:
        d = in_display_mm(self.paper.profile, tool)
        self.say(self.paper.sighted(tool, place, purpose=purpose, d=d))

    def numbers(self, kind: type[Fact]) -> list[int]:
        return [entry.number for entry in self.entries if isinstance(entry.fact, kind)]

    @rule()
    def do_what_is_asked(self) -> None:
        match self.step:
            case Prepare(left=left):
                self.say(Prepared(ticked=left))
            case SightScale(tool=tool, expected=expected):
                self.sight(tool, expected or Position(150.0, 100.0, 5.0), Purpose.SCALE)
            case ConfirmMirror():
                self.say(MirrorAccepted(mirrored=True))
            case HomeFirst(tool=tool):
                self.say(Homed(tool=tool))
            case SightTool(tool=tool, expected=expected):
                assert expected is not None
                self.sight(tool, expected, Purpose.TOOL)
            case Export():
                self.say(EXPORTED)
            case EnterOffsets(tools=tools):
                self.say(Entered(tool=tools[0]))
            case _:
                pass

    @rule(count=st.integers(2, 8))
    def go_on_for_a_while(self, count: int) -> None:
        for _ in range(count):
            self.do_what_is_asked()

    @rule(
        tool=st.sampled_from(sorted(HIDDEN)),
        x=NEAR,
        y=NEAR,
        purpose=st.sampled_from(Purpose),
    )
    def sight_something_else(self, tool: int, x: float, y: float, purpose: Purpose) -> None:
        tool = self.paper.profile.reference_tool if purpose is Purpose.SCALE else tool
        self.sight(tool, Position(150.0 + x, 100.0 + y, 5.0), purpose)

    def strikes(self) -> dict[int, str]:
        """Return why each struck entry is struck."""
        why: dict[int, str] = {}
        for entry in self.entries:
            if isinstance(entry.fact, Struck):
                why[entry.fact.number] = entry.fact.why
            elif isinstance(entry.fact, Restored):
                why.pop(entry.fact.number, None)
        return why

    def standing(self) -> list[int]:
        """Return the sightings that a person can strike out: those that are not struck."""
        return [n for n in self.numbers(Sighted) if n not in self.strikes()]

    def struck_by_hand(self) -> list[int]:
        return [n for n, why in self.strikes().items() if why != UNDONE]

    @precondition(lambda self: self.standing())
    @rule(data=st.data())
    def strike_a_sighting(self, data: st.DataObject) -> None:
        self.say(Struck(number=data.draw(st.sampled_from(self.standing())), why="glint"))

    @precondition(lambda self: self.struck_by_hand())
    @rule(data=st.data())
    def restore_what_was_struck(self, data: st.DataObject) -> None:
        self.say(Restored(number=data.draw(st.sampled_from(self.struck_by_hand()))))

    @precondition(lambda self: self.numbers(Sighted))
    @rule(data=st.data(), slip=st.sampled_from([0.0, 0.01, 0.09, 1.0, -30.0]))
    def retype_a_position(self, data: st.DataObject, slip: float) -> None:
        number = data.draw(st.sampled_from(self.numbers(Sighted)))
        fact = self.entries[number - 1].fact
        assert isinstance(fact, Sighted)
        place = fact.position._replace(x=round(fact.position.x + slip, 2))
        self.say(Retyped(number=number, position=place))

    @rule()
    def knock_the_camera(self) -> None:
        self.say(CameraDisturbed(why="knocked"))

    @rule()
    def home(self) -> None:
        self.say(Homed(tool=0))

    @rule()
    def export_whatever_there_is(self) -> None:
        self.say(EXPORTED)

    @rule(count=st.integers(1, 4))
    def undo_some(self, count: int) -> None:
        for _ in range(count):
            fact = undo(self.run)
            if fact is not None:
                self.say(fact)

    @rule()
    def crash_and_resume(self) -> None:
        before = (self.run, self.step)
        self.entries = list(self.entries)
        self.refold()
        assert (self.run, self.step) == before

    @rule()
    def undo_all_the_way_in_a_copy(self) -> None:
        """Each undo takes one thing back, and in the end nothing counts any more."""
        entries, run = list(self.entries), self.run
        for _ in range(3 * len(entries) + 3):
            fact = undo(run)
            if fact is None:
                break
            number = len(entries) + 1
            entries.append(Entry(number=number, at="", fact=fact))
            run = fold(entries)
        else:
            raise AssertionError("undo never ends")
        assert not [s for s in run.sightings if not s.struck]
        assert run.prepared == frozenset()
        assert run.mirrored is None
        assert not any(s.outdated for s in run.sightings)
        assert all(s.typed_first is None for s in run.sightings)

    @invariant()
    def the_next_step_is_said_in_a_sentence(self) -> None:
        assert len(sentence(self.step, self.run).split()) > 1 or isinstance(self.step, Done)

    @invariant()
    def what_is_struck_or_outdated_never_counts(self) -> None:
        gone = {s.number for s in self.run.sightings if s.struck or s.outdated}
        counting = (*self.run.scale_sightings(), *self.run.tool_sightings())
        assert not gone & {s.number for s in counting}
        evidence = self.run.evidence()
        paths = {s.path for s in (*evidence.scale_jogs, *evidence.sightings)}
        assert not {f"entry {number}" for number in gone} & paths

    @invariant()
    def the_last_strike_or_restoring_of_a_sighting_decides(self) -> None:
        for sighting in self.run.sightings:
            said = [
                entry.fact
                for entry in self.entries
                if isinstance(entry.fact, Struck | Restored)
                and entry.fact.number == sighting.number
            ]
            assert sighting.struck == (bool(said) and isinstance(said[-1], Struck))

    @invariant()
    def folding_is_the_same_each_time(self) -> None:
        assert fold(self.entries) == self.run

    @invariant()
    def a_fact_stays_as_it_was_recorded(self) -> None:
        assert self.run.entries == tuple(self.entries)
        for sighting in self.run.sightings:
            fact = self.entries[sighting.number - 1].fact
            assert isinstance(fact, Sighted)
            assert replace(sighting.seen, position=fact.position) == fact

    @invariant()
    def no_numbers_without_a_scale_and_a_target(self) -> None:
        if self.snapshot.solution is not None:
            assert self.run.tool_sightings(0)
            assert len(self.run.scale_sightings()) >= 3


TestRunOfAPerson = RunOfAPerson.TestCase
TestRunOfAPerson.settings = settings(
    max_examples=15,
    stateful_step_count=20,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)


def test_the_machine_knows_every_fact() -> None:
    """A new kind of fact has to be thought of here too."""
    handled = {
        Prepared,
        Sighted,
        Homed,
        CameraDisturbed,
        Struck,
        Restored,
        Retyped,
        MirrorAccepted,
        Exported,
        Entered,
    }
    every = set(Fact.__args__)
    assert {kind.__name__ for kind in every - handled} == {"RunStarted"}
