"""With the new values every nozzle, told to go to one coordinate, stands on one point.

The transforms are written down here once more, from the firmwares' sources, and
share nothing with the dialects but the stored values.
"""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.dialects import DIALECTS
from app.dialects.values import NozzleVectorMm, OffsetMm

Xyz = tuple[float, float, float]


@dataclass(frozen=True)
class Rules:
    """One firmware's transform, per axis: C = L + factor * stored."""

    factor: int
    """-1: Marlin, RepRapFirmware, slicers (L = C + o); +1: Klipper, Smoothieware (C = L + g)."""
    x_at_home: bool = False
    """X of T1 is the coordinate given to the second carriage at its switch."""
    shown: bool = True
    """False: the display shows C, whatever is stored."""
    t0_is_zero: bool = False
    z: bool = True
    tools: int = 4


RULES = {
    # Marlin source, Marlin/src/module/tool_change.cpp and motion.cpp
    "marlin": Rules(-1, t0_is_zero=True),
    "marlin-two-carriages": Rules(-1, x_at_home=True, t0_is_zero=True, tools=2),
    # RepRapFirmware source, src/GCodes/GCodes.cpp
    "reprapfirmware": Rules(-1),
    "reprapfirmware-two-carriages": Rules(-1, tools=2),
    # Klipper source, klippy/extras/gcode_move.py
    "klipper-macro": Rules(+1),
    "klipper-saved-variables": Rules(+1),
    "klipper-endstop": Rules(+1, x_at_home=True, tools=2),
    # Smoothieware source, src/modules/robot/Robot.cpp
    "smoothieware": Rules(+1),
    # PrusaSlicer source, src/libslic3r/GCode.cpp
    "slicer": Rules(-1, shown=False, z=False),
}

SWITCH_MM = 352.4321
"""Where the second carriage's switch really is, in the first carriage's coordinates."""


def carriage_place(rules: Rules, stored: OffsetMm, tool: int, told: Xyz) -> Xyz:
    """Where the carriage really goes, in a frame that no stored value touches."""
    place = [told[axis] + rules.factor * stored[axis] for axis in range(3)]
    if rules.x_at_home:
        # The second carriage reads stored.x at its switch, and counts from there.
        place[0] = SWITCH_MM + (told[0] - stored.x) if tool == 1 else told[0]
    if not rules.z:
        place[2] = told[2]
    return place[0], place[1], place[2]


def told_for(rules: Rules, stored: OffsetMm, tool: int, place: Xyz) -> Xyz:
    """What has to be told (and is shown) so that the carriage stands there."""
    at_zero = carriage_place(rules, stored, tool, (0.0, 0.0, 0.0))
    return place[0] - at_zero[0], place[1] - at_zero[1], place[2] - at_zero[2]


def triple(low: float, high: float) -> st.SearchStrategy[Xyz]:
    one = st.floats(low, high)
    return st.tuples(one, one, one)


def spots(count: int) -> st.SearchStrategy[list[Xyz]]:
    """Each carriage's place with its nozzle over the one point."""
    return st.lists(triple(50.0, 150.0), min_size=count, max_size=count)


@pytest.mark.parametrize("name", DIALECTS)
@settings(deadline=None)  # a busy machine is not a failure
@given(data=st.data())
def test_all_nozzles_meet_on_one_point(name: str, data: st.DataObject) -> None:
    rules, dialect = RULES[name], DIALECTS[name]
    tools = range(rules.tools)
    places = data.draw(spots(rules.tools))
    reference = data.draw(st.sampled_from(tools))
    stored = {tool: OffsetMm(*data.draw(triple(-20.0, 20.0))) for tool in tools}
    if rules.t0_is_zero:
        stored[0] = OffsetMm()
    if rules.x_at_home:
        stored[0] = stored[0]._replace(x=0.0)
        stored[1] = stored[1]._replace(x=data.draw(st.floats(300.0, 400.0)))

    # A run takes the display less what of the stored value is in it; a printer
    # that knows nothing of the offset shows the carriage itself.
    carriages = list(places)
    if rules.shown:
        for tool in tools:
            shown = told_for(rules, stored[tool], tool, places[tool])
            d = dialect.in_display_mm(stored[tool])
            carriages[tool] = (shown[0] - d.x, shown[1] - d.y, shown[2] - d.z)
    vectors = {
        tool: NozzleVectorMm(*(carriages[reference][a] - carriages[tool][a] for a in range(3)))
        for tool in tools
    }

    new = dialect.new_stored(vectors=vectors, stored_raw=stored, reference_tool=reference)

    told = told_for(rules, new[reference], reference, places[reference])
    for tool in tools:
        there = carriage_place(rules, new[tool], tool, told)
        assert there[:2] == pytest.approx(places[tool][:2], abs=1e-8)
        if rules.z:
            assert there[2] == pytest.approx(places[tool][2], abs=1e-8)
    kept = reference == 0 or not (rules.t0_is_zero or rules.x_at_home)
    if kept:
        assert new[reference] == pytest.approx(stored[reference], abs=1e-9)
    if rules.t0_is_zero:
        assert new[0] == OffsetMm()
