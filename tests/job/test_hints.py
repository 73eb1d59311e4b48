"""Where to jog while the bore is not whole in view."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from app.job.facts import UNKNOWN, Position, PositionMode
from app.job.hints import where_to_jog
from tests.job.by_hand_runs import fit_at
from tests.job.test_by_hand import JOGGING, Paper, paper_run, scale_place, tool_place
from vision.bore import BoreRefusal, Reason
from vision.geometry import PointPx

NOTHING = BoreRefusal(
    reason=Reason.NO_ROUND_EDGE, message="No round dark hole is seen.", remedy="Bring it in view."
)


def part(u: float, v: float) -> BoreRefusal:
    return BoreRefusal(
        reason=Reason.PART_IN_VIEW,
        message="Only part of the bore is in the picture, at its top edge.",
        remedy="Jog the nozzle until the whole bore is in the picture.",
        towards_px=PointPx(u, v),
    )


def hint(run: Paper, answer: BoreRefusal) -> str:
    return where_to_jog(run.snapshot, answer, UNKNOWN)


def test_there_is_none_while_the_bore_is_in_view() -> None:
    run = paper_run()
    assert where_to_jog(run.snapshot, fit_at(PointPx(320.0, 240.0)), UNKNOWN) == ""


def test_with_a_scale_it_says_which_way_and_how_far() -> None:
    run = paper_run(matrix=np.array([[180.0, 0.0], [0.0, 180.0]])).go_on_until(tool_place(1))
    assert hint(run, part(320.0, -20.0)) == "A rim is at the top edge: jog Y +1.40."
    assert hint(run, part(650.0, 240.0)) == "A rim is at the right edge: jog X -1.80."
    assert hint(run, part(-5.0, 485.0)) == (
        "A rim is at the bottom left corner: jog X +1.80 and Y -1.40."
    )


def test_following_it_brings_the_whole_bore_into_view() -> None:
    run = paper_run().go_on_until(tool_place(0))
    for x, y in ((1.75, 0.2), (-1.7, 0.3), (0.1, 1.3), (-0.2, -1.35)):
        place = Position(150.0 + x, 100.0 + y)
        u, v = run.machine.centre(0, place[:2])
        words = hint(run, part(u, v)).partition(": jog ")[2].rstrip(".")
        jog = {axis: float(way) for axis, way in (p.split() for p in words.split(" and "))}
        there = run.machine.centre(0, (place.x + jog.get("X", 0.0), place.y + jog.get("Y", 0.0)))
        assert 60.0 < there.u < 580.0
        assert 60.0 < there.v < 420.0


def test_during_the_jogs_it_leads_back_among_them() -> None:
    run = paper_run().go_on_until(scale_place(5))
    assert hint(run, part(320.0, -20.0)).startswith("A rim is at the top edge: jog ")


def test_without_a_scale_it_names_the_edge_and_what_to_try() -> None:
    run = paper_run().go_on_until(scale_place(2))
    assert hint(run, part(320.0, -20.0)) == (
        "A rim is at the top edge of the picture. Jog X by 0.5 either way, then Y, and see which "
        "brings it in."
    )


def test_before_the_first_sighting_the_finder_names_the_edge() -> None:
    said = hint(paper_run(), part(320.0, -20.0))
    assert said.startswith("Only part of the bore is in the picture, at its top edge. Jog X by 0.5")


def test_an_empty_view_after_a_change_of_tools_tells_where_it_is_expected() -> None:
    run = paper_run().go_on_until(tool_place(1))
    assert hint(run, NOTHING) == (
        "Nothing round is in view. Tool 1 is expected at X 150.00 Y 100.00; if it stands there, "
        "jog X +2.0; if nothing comes, X -4.0; then X +2.0 and Y +2.0, and last Y -4.0."
    )


def test_a_display_without_decimals_of_a_tenth_is_not_asked_for_them() -> None:
    run = paper_run(JOGGING, mode=PositionMode.JOGS_ONLY).go_on_until(tool_place(1))
    run.sight(Position(0.3, -0.1))
    assert "Tool 2 is expected at X -0.3 Y +0.1 from the last sighting" in hint(run, NOTHING)


def test_a_bore_that_was_lost_is_where_it_was() -> None:
    run = paper_run().go_on_until(scale_place(3))
    last = run.snapshot.run.sightings[-1].seen.position
    assert hint(run, NOTHING) == (
        f"Nothing round is in view. It was in view at X {last.x:.2f} Y {last.y:.2f}: jog back "
        "towards it."
    )


def test_before_anything_was_sighted_the_finder_speaks_for_itself() -> None:
    assert hint(paper_run(), NOTHING) == "No round dark hole is seen. Bring it in view."


@pytest.mark.parametrize(
    "reason", [r for r in Reason if r not in (Reason.NO_ROUND_EDGE, Reason.PART_IN_VIEW)]
)
def test_other_refusals_keep_their_message_and_remedy(reason: Reason) -> None:
    run = paper_run().go_on_until(tool_place(1))
    answer = replace(NOTHING, reason=reason, message="It is so.", remedy="Do that.")
    assert hint(run, answer) == "It is so. Do that."
