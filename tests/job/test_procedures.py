"""Automatic work, carried out on paper: what is asked for, in which order, and stopped anywhere."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from copy import copy
from dataclasses import dataclass, field, replace

import numpy as np
import pytest

from app.dialects.values import Layout, OffsetMm
from app.job.facts import (
    Approach,
    CameraDisturbed,
    Entry,
    Fact,
    Homed,
    MirrorAccepted,
    Position,
    Prepared,
    Purpose,
    Sighted,
    Struck,
)
from app.job.live import Seen
from app.job.procedures import (
    Arrived,
    Burst,
    GaveUp,
    HomeAll,
    Look,
    Looked,
    Move,
    Procedure,
    ProcedureSettings,
    Record,
    Recorded,
    Reply,
    Request,
    TakeBurst,
    TakeTool,
    active_tool,
    carry_out,
)
from app.job.profile import Tool
from app.job.run import Run
from app.job.sheet import (
    Export,
    HomeFirst,
    MendScale,
    Prepare,
    SightScale,
    SightTool,
    Step,
    next_step,
)
from app.job.snapshot import Snapshot, snapshot_of
from tests.job.conftest import TINY, PaperMachine, make_profile, run_of
from vision.bore import BoreFit, BoreRefusal, BurstFit, Reason
from vision.geometry import CovPx2, PointPx

FOCUS_Z = 5.0
START = Position(150.0, 100.0, FOCUS_Z)
QUICK = ProcedureSettings(coarse_mm=(0.4, 0.2), fine_mm=(0.1, 0.05))
VECTORS = {0: (0.0, 0.0), 1: (-0.34, 0.12), 2: (0.21, -0.5)}
HEIGHTS = {0: 0.0, 1: 0.2, 2: -0.15}
LOST = BoreRefusal(reason=Reason.COVERED, message="The bore is covered.", remedy="Brush the tip.")


@dataclass
class PaperShop:
    """Ten lines of runner round a machine that notes how it is driven."""

    paper: PaperMachine
    shown: Position = START
    tool: int = 0
    facts: list[Fact] = field(default_factory=list)
    asked: list[Request] = field(default_factory=list)
    growing: dict[str, bool] = field(default_factory=lambda: {"x": False, "y": False, "z": False})
    refuse: BoreRefusal | None = None

    def carry(self, procedure: Procedure, *, stop_at: int | None = None) -> GaveUp | None:
        """Carry a procedure out; with `stop_at`, close it before that request is answered."""
        try:
            request = next(procedure)
            for number in range(10_000):
                self.asked.append(request)
                if number == stop_at:
                    procedure.close()
                    return None
                request = procedure.send(self.answer(request))
        except StopIteration as stop:
            ended: GaveUp | None = stop.value
            return ended
        raise AssertionError("the procedure never ends")

    def answer(self, request: Request) -> Reply:
        match request:
            case Move(x=x, y=y, z=z):
                self.move(x, y, z)
                return Arrived(shown=self.shown)
            case TakeTool(tool=tool):
                self.must_be_clear()
                self.tool = tool
                # The dock lies at the back of the machine.
                self.shown = Position(10.0, 190.0, self.shown.z)
                return Arrived(shown=self.shown)
            case HomeAll():
                self.must_be_clear()
                self.shown = Position(0.0, 0.0, 0.0)
                return Arrived(shown=self.shown)
            case Look(find=find):
                seen = Seen(frame_id=1, arrived_at_s=0.0, camera_generation=1, fit=self.fit())
                return Looked(seen=seen if find else None, sharpness=self.sharpness())
            case TakeBurst():
                assert self.growing["x"], "X was not reached growing"
                assert self.growing["y"], "Y was not reached growing"
                fit = self.fit()
                return Burst(
                    fit=fit if isinstance(fit, BoreRefusal) else burst_of(fit),
                    pictures=(),
                    picture_size_px=(640, 480),
                    camera_generation=1,
                )
            case Record(fact=fact):
                self.facts.append(fact)
                return Recorded()

    def move(self, x: float | None, y: float | None, z: float | None) -> None:
        if (x, y, z) == (None, None, None):
            return
        old = self.shown
        assert old.z is not None
        new = Position(
            old.x if x is None else x, old.y if y is None else y, old.z if z is None else z
        )
        assert new.z is not None
        if math.hypot(new.x - old.x, new.y - old.y) > 3.0:
            assert min(old.z, new.z) > FOCUS_Z + 20.0, f"a long way low over the bed: {new}"
        for axis, a, b in zip("xyz", old, new, strict=True):
            assert a is not None
            assert b is not None
            if abs(a - b) > 1e-9:
                self.growing[axis] = b > a
        self.shown = new

    def must_be_clear(self) -> None:
        assert self.shown.z is not None
        assert self.shown.z >= FOCUS_Z + QUICK.clearance_mm - 1.0, "the camera would be hit"

    def sharpness(self) -> float:
        assert self.shown.z is not None
        off = self.shown.z - FOCUS_Z - HEIGHTS.get(self.tool, 0.0)
        return 0.1 + math.exp(-((off / 0.3) ** 2))

    def fit(self) -> BoreFit | BoreRefusal:
        if self.refuse is not None:
            return self.refuse
        centre = self.paper.centre(self.tool, self.shown[:2])
        if not (0 < centre.u < 639 and 0 < centre.v < 479):
            return BoreRefusal(
                reason=Reason.PART_IN_VIEW,
                message="Only part of a rim is in view.",
                remedy="Jog it in.",
                towards_px=centre,
            )
        return fit_at(centre)

    def snapshot(self) -> Snapshot:
        return snapshot_of(run_of(*self.facts))

    def fork(self) -> PaperShop:
        """Return the same shop at this moment, to go on with apart."""
        twin = copy(self)
        twin.facts, twin.asked = list(self.facts), []
        twin.growing = dict(self.growing)
        return twin

    def do(self, step: Step, snapshot: Snapshot, **stopping: int) -> GaveUp | None:
        procedure = carry_out(step, snapshot, start=START, settings=QUICK)
        return self.carry(procedure, **stopping)


def fit_at(centre: PointPx) -> BoreFit:
    return BoreFit(
        centre_px=centre,
        temporal_cov_px2=TINY,
        static_cov_px2=TINY,
        radius_px=36.0,
        semi_axes_px=(36.0, 36.0),
        angle_rad=0.0,
        rim_px=np.zeros((0, 2)),
        arc_covered=1.0,
        contrast=0.5,
        blur_px=1.0,
        residual_px=0.1,
        size_verified=True,
    )


def burst_of(fit: BoreFit) -> BurstFit:
    return BurstFit(
        centre_px=fit.centre_px,
        cov_px2=CovPx2(2e-6, 0.0, 2e-6),
        temporal_cov_px2=TINY,
        static_cov_px2=TINY,
        radius_px=36.0,
        blur_px=1.0,
        frames_used=(0, 2),
        frames_dropped=(1,),
        fits=(fit, LOST, fit),
    )


def shop(**changes: object) -> PaperShop:
    profile = make_profile(**changes)
    paper = PaperMachine(profile=profile, vectors_mm=VECTORS)
    return PaperShop(paper=paper, facts=[paper.started()])


def run_until(
    place: PaperShop, wanted: Callable[[Step], bool], limit: int = 40
) -> tuple[Step, Snapshot]:
    for _ in range(limit):
        snapshot = place.snapshot()
        step = next_step(snapshot)
        if wanted(step):
            return step, snapshot
        assert place.do(step, snapshot) is None, step
    raise AssertionError("the step never came")


LAYOUTS: dict[str, dict[str, object]] = {
    "tool changer": {},
    "carriages that home": {
        "layout": Layout.INDEPENDENT_CARRIAGES,
        "homes_between_tools": True,
        "tools": (Tool(number=0), Tool(number=1)),
    },
    "coarse display": {"display_step_mm": 0.1, "whole_steps": True},
    "low ceiling": {"travel_mm": ((0.0, 300.0), (0.0, 200.0), (0.0, 34.5))},
    "reference 1, repeats": {"reference_tool": 1, "sightings_per_tool": 2},
}


@pytest.mark.parametrize("name", LAYOUTS)
def test_a_whole_run_ends_in_the_true_offsets(name: str) -> None:
    """Every assertion on the way stands in the shop: clear of the camera, reached growing."""
    place = shop(**LAYOUTS[name])
    reference = place.paper.profile.reference_tool
    place.tool = reference
    # A person brought the reference there, wherever its nozzle stands on its carriage.
    place.paper.vectors_mm = {
        n: (x - VECTORS[reference][0], y - VECTORS[reference][1]) for n, (x, y) in VECTORS.items()
    }
    _, snapshot = run_until(place, lambda step: isinstance(step, Export))
    assert snapshot.solution is not None
    for tool in snapshot.solution.tools:
        assert tuple(tool.vector_mm[:2]) == pytest.approx(
            place.paper.vectors_mm[tool.tool], abs=1e-5
        )


def test_heights_are_found_by_focus() -> None:
    place = shop()
    _, snapshot = run_until(place, lambda step: isinstance(step, Export))
    assert snapshot.solution is not None
    # Focused at Z 5.2 and 4.85, so the nozzles hang 0.2 lower and 0.15 higher.
    assert snapshot.solution.tool(1).vector_mm.z == pytest.approx(-0.2, abs=0.02)
    assert snapshot.solution.tool(2).vector_mm.z == pytest.approx(0.15, abs=0.02)


def requests(place: PaperShop, wanted: Callable[[Step], bool]) -> list[Request]:
    step, snapshot = run_until(place, wanted)
    place.asked.clear()
    assert place.do(step, snapshot) is None
    return list(place.asked)


def kinds(asked: Sequence[Request]) -> list[str]:
    names = [type(request).__name__ for request in asked]
    return [name for i, name in enumerate(names) if i == 0 or names[i - 1] != name]


def takes_tool(step: Step) -> bool:
    return isinstance(step, SightTool) and step.tool == 1


def test_a_tool_is_taken_lifted_brought_over_and_lowered_in_this_order() -> None:
    asked = requests(shop(), takes_tool)
    assert kinds(asked)[:3] == ["Move", "TakeTool", "Move"]
    lift, taken = asked[1], asked.index(TakeTool(tool=1))
    assert isinstance(lift, Move)
    assert lift == Move(z=lift.z)
    assert lift.z == pytest.approx(FOCUS_Z + 30.0, abs=0.1)
    # Past and back, so that both axes end growing, then down.
    over, on, down = asked[taken + 1 : taken + 4]
    assert over == Move(x=149.7, y=99.7, z=lift.z)
    assert on == Move(x=150.0, y=100.0)
    assert isinstance(down, Move)
    assert down == Move(z=down.z)
    assert down.z == pytest.approx(FOCUS_Z, abs=0.1)
    assert isinstance(asked[-2], TakeBurst)
    assert isinstance(asked[-1], Record)


def test_focusing_ends_at_the_sharpest_height_coming_from_below() -> None:
    asked = requests(shop(), takes_tool)
    last_look = max(i for i, request in enumerate(asked) if request == Look(find=False))
    after = asked[last_look + 1 : last_look + 3]
    heights = [request.z for request in after if isinstance(request, Move) and request.z]
    assert len(heights) == 2
    assert heights[-1] == pytest.approx(FOCUS_Z + HEIGHTS[1], abs=0.02)
    assert heights[-2] < heights[-1]


def test_the_same_tool_again_is_neither_lifted_nor_taken() -> None:
    asked = requests(shop(), lambda step: isinstance(step, SightTool))
    assert kinds(asked) == ["Move", "TakeBurst", "Record"]


def test_homing_comes_after_a_lift_and_ends_in_its_fact() -> None:
    place = shop(**LAYOUTS["carriages that home"])
    asked = requests(place, lambda step: isinstance(step, HomeFirst))
    assert kinds(asked) == ["Move", "HomeAll", "Record"]
    assert place.facts[-1] == Homed(tool=1)


def test_a_lift_never_lowers() -> None:
    place = shop(**LAYOUTS["carriages that home"])
    step, snapshot = run_until(place, lambda step: isinstance(step, HomeFirst))
    place.shown = place.shown._replace(z=80.0)
    place.asked.clear()
    place.do(step, snapshot)
    assert place.asked[:2] == [Move(), Move(z=80.0)]


def test_a_position_without_height_moves_nothing() -> None:
    place = shop()
    step, snapshot = run_until(place, takes_tool)
    place.shown = place.shown._replace(z=None)
    with pytest.raises(ValueError, match="with z"):
        place.do(step, snapshot)
    assert place.asked[-1] == Move()


def test_a_sighting_holds_what_the_burst_gave() -> None:
    place = shop(dialect="reprapfirmware", tools=(Tool(number=0), Tool(number=1)))
    run_until(place, lambda step: isinstance(step, SightScale) and step.number == 2)
    fact = place.facts[-1]
    assert isinstance(fact, Sighted)
    assert fact.purpose is Purpose.SCALE
    assert fact.approach == Approach(1, 1)
    assert fact.in_display_mm == OffsetMm()
    assert fact.frame_centres_px == (fact.centre_px, None, fact.centre_px)
    assert (fact.picture_size_px, fact.camera_generation) == ((640, 480), 1)


def test_preparation_and_a_mirrored_picture_end_in_facts_without_motion() -> None:
    place = shop()
    place.paper.matrix = np.array([[-180.0, 12.0], [11.0, 182.0]])
    run_until(place, lambda step: isinstance(step, Export))
    assert isinstance(place.facts[1], Prepared)
    assert sum(isinstance(fact, MirrorAccepted) for fact in place.facts) == 1


@pytest.mark.parametrize("wanted", [SightScale, SightTool])
def test_a_refusal_gives_up_with_its_words_and_records_nothing(wanted: type[Step]) -> None:
    place = shop()
    step, snapshot = run_until(place, lambda step: isinstance(step, wanted))
    before = list(place.facts)
    place.refuse = LOST
    assert place.do(step, snapshot) == GaveUp(message=LOST.message, remedy=LOST.remedy)
    assert place.facts == before


def test_a_rim_at_the_edge_is_brought_in() -> None:
    place = shop()
    place.paper.vectors_mm = VECTORS | {1: (1.6, -1.1)}
    step, snapshot = run_until(place, takes_tool)
    assert place.do(step, snapshot) is None
    fact = place.facts[-1]
    assert isinstance(fact, Sighted)
    assert fact.centre_px == pytest.approx(snapshot.target_px, abs=3.0)


def test_where_the_display_offers_no_nearer_place_the_tool_is_sighted_where_it_stands() -> None:
    place = shop(display_step_mm=0.1)
    place.paper.vectors_mm = VECTORS | {1: (0.046, -0.047)}
    step, snapshot = run_until(place, takes_tool)
    assert place.do(step, snapshot) is None
    assert place.asked.count(Look()) == 1


def test_a_machine_that_does_not_come_nearer_is_given_up() -> None:
    place = shop()
    step, snapshot = run_until(place, takes_tool)

    class Stuck(PaperShop):
        def fit(self) -> BoreFit:
            return fit_at(PointPx(500.0, 300.0))

    stuck = Stuck(paper=place.paper, shown=place.shown, facts=place.facts, growing=place.growing)
    ended = stuck.do(step, snapshot)
    assert ended is not None
    assert "did not come nearer" in ended.message
    assert sum(request == Look() for request in stuck.asked) == QUICK.tries


def test_a_step_that_needs_a_person_is_given_up_and_asks_for_nothing() -> None:
    place = shop()
    snapshot = place.snapshot()
    ended = place.do(MendScale(refusal=None, doubtful=(), numbers=()), snapshot)
    assert ended is not None
    assert "needs a person" in ended.message
    assert place.asked == []


@pytest.mark.parametrize("name", ["tool changer", "carriages that home"])
def test_stopped_at_any_request_only_facts_are_left_and_the_run_goes_on(name: str) -> None:
    place = shop(**LAYOUTS[name])
    stops = 0
    for _ in range(20):
        snapshot = place.snapshot()
        step = next_step(snapshot)
        if isinstance(step, Export):
            break
        whole = place.fork()
        assert whole.do(step, snapshot) is None
        for at in range(len(whole.asked)):
            cut = place.fork()
            cut.do(step, snapshot, stop_at=at)
            # What stood before stands, and of this step only what was recorded.
            assert cut.facts[: len(place.facts)] == place.facts
            assert len(cut.facts) < len(whole.facts)
            # The machine stands where it was stopped; the run is folded anew.
            folded = cut.snapshot()
            assert folded.run == snapshot.run
            assert cut.do(next_step(folded), folded) is None
            assert kind_of(cut.facts) == kind_of(whole.facts)
            assert cut.tool == whole.tool
            stops += 1
        place = whole
    assert stops > 60


def kind_of(facts: Sequence[Fact]) -> list[object]:
    return [(type(f), getattr(f, "tool", None), getattr(f, "purpose", None)) for f in facts]


def stopped_with_another_tool() -> PaperShop:
    """Return a shop whose machine took tool 1 and was stopped before any fact of it."""
    place = shop()
    step, snapshot = run_until(place, takes_tool)
    place.do(step, snapshot, stop_at=4)
    assert place.tool == 1
    assert isinstance(place.facts[-1], Sighted)
    assert place.facts[-1].tool == 0
    return place


@pytest.mark.parametrize(
    "person",
    [
        lambda facts: Struck(number=len(facts), why="glint"),
        lambda facts: CameraDisturbed(why="knocked"),
    ],
)
def test_after_a_person_stepped_in_the_tool_is_taken_anew(
    person: Callable[[Sequence[Fact]], Fact],
) -> None:
    place = stopped_with_another_tool()
    place.facts.append(person(place.facts))
    snapshot = place.snapshot()
    step = next_step(snapshot)
    assert isinstance(step, SightScale | SightTool)
    assert step.tool == 0
    place.asked.clear()
    assert place.do(step, snapshot) is None
    assert TakeTool(tool=0) in place.asked
    assert place.tool == 0


def entries(*facts: Fact) -> Run:
    return run_of(shop().facts[0], *facts)


def test_which_tool_is_over_the_camera() -> None:
    place = shop()
    run_until(place, lambda step: isinstance(step, SightTool))
    scale = [fact for fact in place.facts if isinstance(fact, Sighted)]
    assert active_tool(entries()) == 0
    assert active_tool(entries(Prepared(ticked=()))) == 0
    assert active_tool(entries(*scale)) == 0
    assert active_tool(entries(*scale, MirrorAccepted(mirrored=True))) == 0
    assert active_tool(entries(*scale, replace(scale[0], tool=1))) == 1
    assert active_tool(entries(*scale, Homed(tool=0))) is None
    assert active_tool(entries(*scale, Struck(number=2, why=""))) is None


def test_a_fresh_shop_has_to_be_prepared_first() -> None:
    snapshot = shop().snapshot()
    assert isinstance(next_step(snapshot), Prepare)
    assert isinstance(snapshot.run.entries[0], Entry)
