"""The run sheet leads through a whole run, for every layout."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray

from app.dialects.values import Layout, OffsetMm
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
    Retyped,
    Struck,
)
from app.job.profile import Profile, Tool
from app.job.run import fold
from app.job.sheet import (
    SCALE_JOGS,
    ConfirmMirror,
    Done,
    EnterOffsets,
    Export,
    HomeFirst,
    MendScale,
    Prepare,
    SightScale,
    SightTool,
    Step,
    corners_mm,
    next_step,
    sentence,
    visits,
)
from app.job.snapshot import in_display_mm, snapshot_of
from tests.job.conftest import PaperMachine, entries_of, make_profile, run_of


class Person:
    """Does what the run sheet says, on a paper machine, and notes what was asked."""

    def __init__(self, paper: PaperMachine) -> None:
        self.paper = paper
        self.facts: list[Fact] = [paper.started()]
        self.asked: list[Step] = []

    def go_on(self, limit: int = 60) -> None:
        for _ in range(limit):
            run = run_of(*self.facts)
            step = next_step(snapshot_of(run))
            self.asked.append(step)
            assert sentence(step, run)
            if isinstance(step, Done | MendScale):
                return
            self.facts += self.do(step)
        raise AssertionError("the run never ends")

    def do(self, step: Step) -> list[Fact]:
        match step:
            case Prepare(left=left):
                return [Prepared(ticked=left)]
            case SightScale(expected=expected, tool=tool):
                place = expected or Position(150.0, 100.0, 5.0)
                return [self.sight(tool, place, Purpose.SCALE)]
            case ConfirmMirror():
                return [MirrorAccepted(mirrored=True)]
            case HomeFirst(tool=tool):
                return [Homed(tool=tool)]
            case SightTool(tool=tool, expected=expected):
                assert expected is not None
                return [self.sight(tool, expected, Purpose.TOOL)]
            case Export():
                return [
                    Exported(tools=(), settings_text="x", moves_text="", warnings=(), algorithm="a")
                ]
            case EnterOffsets(tools=tools):
                return [Entered(tool=tools[0])]
            case _:
                raise AssertionError(step)

    def sight(self, tool: int, place: Position, purpose: Purpose) -> Fact:
        d = in_display_mm(self.paper.profile, tool)
        return self.paper.sighted(tool, place, purpose=purpose, d=d)

    def kinds(self) -> list[str]:
        return [type(step).__name__ for step in self.asked]


def paper_machine(profile: Profile, **changes: object) -> PaperMachine:
    vectors = {
        tool.number: (tool.nominal_mm[0] + 0.1 * i, tool.nominal_mm[1] - 0.07 * i)
        for i, tool in enumerate(profile.tools)
    }
    return PaperMachine(profile=profile, vectors_mm=vectors, **changes)  # type: ignore[arg-type]


PROFILES = {
    "tool changer": make_profile(tools=tuple(Tool(number=n) for n in range(5))),
    "sixteen tools": make_profile(tools=tuple(Tool(number=n) for n in range(16))),
    "carriages": make_profile(
        layout=Layout.INDEPENDENT_CARRIAGES,
        dialect="marlin-two-carriages",
        tools=(Tool(number=0), Tool(number=1, stored_raw=OffsetMm(353.0, 0.1, 0.0))),
        homes_between_tools=True,
    ),
    "fixed nozzles": make_profile(
        layout=Layout.FIXED_NOZZLES,
        dialect="marlin",
        tools=(Tool(number=0), Tool(number=1, nominal_mm=(18.0, 0.0))),
    ),
    "lifting nozzle": make_profile(
        layout=Layout.LIFTING_NOZZLE,
        dialect="klipper-macro",
        tools=(Tool(number=0), Tool(number=1, stored_raw=OffsetMm(-18.0, 0.2, 0.0))),
    ),
    "reference 1": make_profile(reference_tool=1, dialect="smoothieware"),
}


@pytest.mark.parametrize("name", PROFILES)
def test_doing_what_is_asked_ends_the_run(name: str) -> None:
    person = Person(paper_machine(PROFILES[name]))
    person.go_on(limit=90)
    profile = PROFILES[name]
    assert isinstance(person.asked[-1], Done)
    sighted = [s.tool for s in person.asked if isinstance(s, SightTool)]
    assert tuple(sighted) == visits(profile)
    assert sum(isinstance(s, SightScale) for s in person.asked) == SCALE_JOGS
    run = run_of(*person.facts)
    solution = snapshot_of(run).solution
    assert solution is not None
    for tool in profile.tools:
        true = person.paper.vectors_mm[tool.number]
        origin = person.paper.vectors_mm[profile.reference_tool]
        found = solution.tool(tool.number).vector_mm
        assert (found.x, found.y) == pytest.approx(
            (true[0] - origin[0], true[1] - origin[1]), abs=1e-6
        )


def test_homing_stands_between_the_tools_and_before_the_reference_again() -> None:
    person = Person(paper_machine(PROFILES["carriages"]))
    person.go_on()
    order = [
        f"{type(s).__name__} {s.tool}" for s in person.asked if isinstance(s, HomeFirst | SightTool)
    ]
    assert order == [
        "SightTool 0",
        "HomeFirst 1",
        "SightTool 1",
        "HomeFirst 0",
        "SightTool 0",
    ]


def test_the_preparation_tells_what_the_firmware_wants_first() -> None:
    machine = paper_machine(make_profile(dialect="marlin"))
    run = run_of(machine.started())
    step = next_step(snapshot_of(run))
    assert isinstance(step, Prepare)
    assert "cold (under 50 C)" in sentence(step, run)
    assert "write back with M218 what it shows" in sentence(step, run)


def test_several_sightings_of_each_tool_go_round() -> None:
    profile = make_profile(sightings_per_tool=2)
    person = Person(paper_machine(profile))
    person.go_on()
    assert [s.tool for s in person.asked if isinstance(s, SightTool)] == [0, 1, 2, 0, 1, 2, 0]


def test_the_scale_asks_for_jogs_that_end_growing() -> None:
    person = Person(paper_machine(PROFILES["tool changer"]))
    person.go_on(limit=60)
    plans = [s.plan for s in person.asked if isinstance(s, SightScale) and s.plan is not None]
    assert len(plans) == SCALE_JOGS - 1
    for plan in plans:
        for axis in "XY":
            steps = [jog.step_mm for jog in plan.jogs if jog.axis == axis]
            assert not steps or steps[-1] > 0


@pytest.mark.parametrize("half", [0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0])
@pytest.mark.parametrize("display", [0.1, 0.05, 0.01, 0.001])
def test_corners_are_counted_in_whole_tenths(half: float, display: float) -> None:
    for corner in corners_mm(half, display):
        for part in corner:
            assert part == round(part, 1)


@pytest.mark.parametrize(("half", "grid"), [(0.2, 0.05), (0.15, 0.05), (0.1, 0.01)])
def test_corners_of_short_jogs_lie_on_a_finer_grid(half: float, grid: float) -> None:
    parts = [part / grid for corner in corners_mm(half, 0.01) for part in corner]
    assert parts == pytest.approx([round(part) for part in parts], abs=1e-9)


@pytest.mark.parametrize("half", [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0])
def test_rounding_the_corners_loses_next_to_nothing(half: float) -> None:
    exact = half * np.array([(1.0, 0.0), (0.3, 0.95), (-0.8, 0.6), (-0.8, -0.6), (0.3, -0.95)])
    rounded = np.array(corners_mm(half, 0.01))
    loss = matrix_variances(rounded) / matrix_variances(exact)
    assert loss.mean() < 1.1
    # A standard uncertainty is the root: the worse direction loses less than a tenth too.
    assert float(np.sqrt(loss.max())) < 1.1
    # The room is taken with 15 % to spare.
    assert float(np.linalg.norm(rounded, axis=1).max()) < 1.1 * half


@pytest.mark.parametrize("half", [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0])
def test_no_three_corners_lie_on_a_line(half: float) -> None:
    for three in combinations(corners_mm(half, 0.01), 3):
        a, b, c = np.array(three) / half
        assert abs(float(np.linalg.det([b - a, c - a]))) > 0.2


def matrix_variances(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the variances of a fitted matrix' rows along the principal directions."""
    places = np.vstack([np.zeros(2), corners])
    centred = places - places.mean(axis=0)
    return np.linalg.eigvalsh(np.linalg.inv(centred.T @ centred))


def test_a_mirrored_picture_is_asked_about_once() -> None:
    machine = paper_machine(
        PROFILES["tool changer"], matrix=np.array([[-180.0, 12.0], [11.0, 182.0]])
    )
    person = Person(machine)
    person.go_on()
    assert person.kinds().count("ConfirmMirror") == 1


def test_a_mistyped_jog_is_named_and_retyping_mends_it(scale_facts: list[Fact]) -> None:
    wrong = Position(150.81, 100.57, 5.0)  # 150.18 with two digits exchanged
    entries = entries_of(*scale_facts, Retyped(number=5, position=wrong))
    run = fold(entries)
    step = next_step(snapshot_of(run))
    assert isinstance(step, MendScale)
    assert step.numbers == (5,)
    assert step.doubtful[0].suggested_mm.x == pytest.approx(150.18, abs=0.01)
    assert "The 3rd position reads X 150.81; the picture says 150.18" in sentence(step, run)
    right = Retyped(number=5, position=Position(150.18, 100.57, 5.0))
    mended = fold([*entries, Entry(number=10, at="", fact=right)])
    assert isinstance(next_step(snapshot_of(mended)), SightTool)


def test_a_struck_corner_is_asked_for_again(scale_facts: list[Fact]) -> None:
    run = run_of(*scale_facts, Struck(number=5, why="glint"))
    step = next_step(snapshot_of(run))
    assert isinstance(step, SightScale)
    assert step.expected is not None
    assert (step.expected.x, step.expected.y) == pytest.approx((150.2, 100.8))


def test_a_disturbed_camera_starts_the_scale_again(scale_facts: list[Fact]) -> None:
    run = run_of(*scale_facts, CameraDisturbed(why="knocked"))
    step = next_step(snapshot_of(run))
    assert isinstance(step, SightScale)
    assert step.number == 1


def test_findings_go_with_the_export(paper: PaperMachine, scale_facts: list[Fact]) -> None:
    place = Position(150.0, 100.0, 5.0)
    moved = paper.sighted(0, Position(150.2, 100.0, 5.0))
    run = run_of(
        *scale_facts,
        paper.sighted(0, place),
        paper.sighted(1, Position(150.3, 99.9, 5.0)),
        paper.sighted(2, Position(149.8, 100.5, 5.0)),
        replace(moved, position=place),
    )
    step = next_step(snapshot_of(run))
    assert isinstance(step, Export)
    assert {found.code for found in step.findings if found.fails} >= {"closure"}
    assert "read them first" in sentence(step, run)
