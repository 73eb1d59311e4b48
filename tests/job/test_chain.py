"""The whole chain: hidden offsets come back, and the pasted text puts all nozzles on one point.

The firmware that reads the text is the bench's, which shares no code with the
dialects. Its transforms are those of the firmwares' sources (see
`app.bench.firmware`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from app.bench import BenchMachine, make_world
from app.bench.axes import Mm3
from app.bench.firmware import Firmware
from app.dialects import DIALECTS
from app.dialects.values import Layout, OffsetMm
from app.job.facts import Position, Prepared, Purpose
from app.job.profile import Profile, Tool
from app.job.run import Run
from app.job.sheet import PREPARATION
from app.job.snapshot import in_display_mm, snapshot_of
from app.job.stored import stored_of
from tests.job.conftest import JOGS, PaperMachine, make_profile, run_of

Matrix2 = NDArray[np.float64]

CLOSE_MM = 0.00101
"""Text holds three decimals, so two nozzles may end half a micrometre off each; the
rest is for the centres' own rounding."""

HOMES = {"marlin-two-carriages": 353.0, "klipper-endstop": 300.0}


@dataclass(frozen=True)
class Case:
    """One workshop: what is hidden, and what the owner knows."""

    profile: Profile
    vectors_mm: dict[int, tuple[float, float]]
    matrix: Matrix2
    off_target_mm: tuple[float, float]


MM = st.floats(-1.0, 1.0).map(lambda value: round(value, 4))
STORED = st.floats(-1.0, 1.0).map(lambda value: round(value, 3))


@st.composite
def matrices(draw: st.DrawFn) -> Matrix2:
    """Scale 2.5 to 12 um/px, any turn, some skew and stretch, flipped or not."""
    scale = 1000.0 / draw(st.floats(2.5, 12.0))
    turn = draw(st.floats(-math.pi, math.pi))
    skew, stretch = draw(st.floats(-0.1, 0.1)), draw(st.floats(0.95, 1.05))
    rotation = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    flip = np.diag([draw(st.sampled_from([1.0, -1.0])), 1.0])
    matrix: Matrix2 = scale * flip @ rotation @ np.array([[1.0, skew], [0.0, stretch]])
    return matrix


@st.composite
def cases(draw: st.DrawFn, dialect: str) -> Case:
    carriages = dialect in HOMES or dialect.endswith("two-carriages")
    count = 2 if carriages else draw(st.integers(2, 5))
    can_zero = DIALECTS[dialect].first_tool_holds
    reference = draw(st.integers(0, count - 1)) if can_zero and not carriages else 0
    stored = {n: OffsetMm(draw(STORED), draw(STORED), draw(STORED)) for n in range(count)}
    if not can_zero or dialect == "slicer":
        stored[0] = OffsetMm()
    if dialect == "slicer":
        stored = dict.fromkeys(range(count), OffsetMm())
    if dialect in HOMES:
        stored[0] = OffsetMm()
        stored[1] = stored[1]._replace(x=HOMES[dialect])
    return Case(
        profile=make_profile(
            layout=Layout.INDEPENDENT_CARRIAGES if carriages else Layout.TOOL_CHANGER,
            dialect=dialect,
            tools=tuple(Tool(number=n, stored_raw=raw) for n, raw in stored.items()),
            reference_tool=reference,
            travel_mm=((0.0, 400.0), (0.0, 300.0), (0.0, 250.0)),
        ),
        vectors_mm={n: (draw(MM), draw(MM)) for n in range(count)},
        matrix=draw(matrices()),
        off_target_mm=(draw(MM) / 3.0, draw(MM) / 3.0),
    )


def sight_all(case: Case, firmware: Firmware) -> Run:
    """Sight every tool where the firmware shows it, not centred but in view."""
    paper = PaperMachine(profile=case.profile, vectors_mm=case.vectors_mm, matrix=case.matrix)

    def sight(tool: int, nozzle: tuple[float, float], purpose: Purpose) -> object:
        firmware.take(tool)
        n = case.vectors_mm[tool]
        carriage = Mm3(150.0 + nozzle[0] - n[0], 100.0 + nozzle[1] - n[1], 5.0)
        shown = firmware.shown(carriage)
        fact = paper.sighted(
            tool, Position(*shown), purpose=purpose, d=in_display_mm(case.profile, tool)
        )
        # The picture knows the carriage, whatever the job makes of the display.
        seen = paper.centre(tool, (carriage.x, carriage.y))
        assert fact.centre_px == pytest.approx(seen, abs=1e-6)
        return fact

    reference = case.profile.reference_tool
    others = [t.number for t in case.profile.tools if t.number != reference]
    facts = [
        paper.started(),
        Prepared(ticked=PREPARATION),
        *(sight(reference, jog, Purpose.SCALE) for jog in JOGS),
        sight(reference, (0.0, 0.0), Purpose.TOOL),
        *(sight(tool, case.off_target_mm, Purpose.TOOL) for tool in others),
        sight(reference, (0.0, 0.0), Purpose.TOOL),
    ]
    return run_of(*facts)  # type: ignore[arg-type]  # all are facts


@pytest.mark.parametrize("dialect", DIALECTS)
@settings(max_examples=12, deadline=None)
@given(data=st.data())
def test_hidden_offsets_come_back_and_the_text_puts_all_nozzles_on_one_point(
    dialect: str, data: st.DataObject
) -> None:
    case = data.draw(cases(dialect))
    world = make_world(case.profile, seed=1, drop_of_plastic=False)
    run = sight_all(case, world.controller.firmware)
    solution = snapshot_of(run).solution
    assert solution is not None
    origin = case.vectors_mm[case.profile.reference_tool]
    for tool, true in case.vectors_mm.items():
        found = solution.tool(tool).vector_mm
        assert (found.x, found.y) == pytest.approx(
            (true[0] - origin[0], true[1] - origin[1]), abs=1e-5
        )
    text = stored_of(case.profile, solution).text
    machine = BenchMachine(world)
    machine.paste(settings=text.settings, moves=text.moves)
    firmware = world.controller.firmware
    places = []
    for tool, vector in case.vectors_mm.items():
        firmware.take(tool)
        carriage = firmware.carriage_for_print(Mm3(150.0, 100.0, 5.0))
        places.append((carriage.x + vector[0], carriage.y + vector[1]))
    for (ax, ay), (bx, by) in product(places, places):
        assert abs(ax - bx) <= CLOSE_MM
        assert abs(ay - by) <= CLOSE_MM
    world.close()
