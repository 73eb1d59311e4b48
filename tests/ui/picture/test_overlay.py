"""What is drawn over the picture follows from what was seen and what is known."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from app.job.live import Correction
from app.job.snapshot import Snapshot
from app.ui.picture.overlay import (
    SHORTEST_ARROW_PX,
    Arrow,
    OnTarget,
    arrow_of,
    chevron_towards,
    is_stale,
    overlay_of,
    rim_dashes,
    tick_step_mm,
)
from app.ui.picture.transform import PointWidget, ViewTransform
from app.ui.state import DeskState
from tests.ui.states import STATES, fit, glance, shown
from vision.bore import BoreFit
from vision.geometry import PointMm, PointPx
from vision.pixel_scale import PixelScale

VIEW = ViewTransform.fitted((640, 480), (960.0, 720.0))


def bore() -> BoreFit:
    answer = fit()
    assert isinstance(answer, BoreFit)
    return answer


def half_seen() -> BoreFit:
    """Return a bore whose rim was seen only to the right of its centre."""
    whole = bore()
    return replace(whole, rim_px=whole.rim_px[whole.rim_px[:, 0] > whole.centre_px.u])


def scale_of(snapshot: Snapshot) -> PixelScale:
    assert isinstance(snapshot.scale, PixelScale)
    return snapshot.scale


def fix_over(length_px: float) -> tuple[DeskState, Correction]:
    """Return a correction whose arrow is so long on the widget."""
    state = STATES["tool"]()
    assert state.fix is not None
    target = state.fix.target_px
    bore_px = PointPx(target.u + length_px / VIEW.scale, target.v)
    x, y = scale_of(state.snapshot).to_mm(PointPx(target.u - bore_px.u, 0.0))
    return state, replace(state.fix, bore_px=bore_px, jog_mm=PointMm(x, y))


def test_every_dash_lies_on_the_rim() -> None:
    answer = bore()
    for line in rim_dashes(answer, VIEW):
        for point in line:
            off = math.dist(VIEW.to_picture(point), answer.centre_px)
            assert off == pytest.approx(answer.radius_px, abs=2.0)


def test_a_rim_seen_all_round_has_dashes_all_round() -> None:
    answer = bore()
    middles = [VIEW.to_picture(line[1]) for line in rim_dashes(answer, VIEW)]
    u, v = answer.centre_px
    assert {(p.u > u, p.v > v) for p in middles} == {
        (a, b) for a in (True, False) for b in (True, False)
    }
    assert len(middles) >= 12


def test_there_is_no_dash_where_the_rim_was_not_seen() -> None:
    dashes = rim_dashes(half_seen(), VIEW)
    centre = VIEW.to_widget(bore().centre_px)
    assert dashes
    # Half a gap between points that were seen is the most that a dash reaches beyond them.
    assert all(point.x > centre.x - 1.5 for line in dashes for point in line)


def test_dashes_have_gaps_between_them() -> None:
    dashes = rim_dashes(bore(), VIEW)
    drawn = sum(math.dist(line[0], line[-1]) for line in dashes)
    assert 0.4 < drawn / (2.0 * math.pi * bore().radius_px * VIEW.scale) < 0.65


def test_no_points_no_dashes() -> None:
    assert rim_dashes(replace(bore(), rim_px=np.empty((0, 2))), VIEW) == ()


def test_dashes_beyond_the_widget_are_left_out() -> None:
    centre = VIEW.to_widget(bore().centre_px)
    close = VIEW.zoomed(6.0, PointWidget(centre.x + bore().radius_px * VIEW.scale, centre.y))
    lines = rim_dashes(bore(), close)
    assert lines
    assert all(any(0.0 <= p.x <= 960.0 and 0.0 <= p.y <= 720.0 for p in line) for line in lines)


def test_the_arrow_goes_from_the_bore_to_the_target() -> None:
    state = STATES["tool"]()
    arrow = overlay_of(state, VIEW).arrow
    assert isinstance(arrow, Arrow)
    assert state.fix is not None
    assert arrow.tail == VIEW.to_widget(state.fix.bore_px)
    assert arrow.head == VIEW.to_widget(state.fix.target_px)


def test_ticks_stand_at_whole_steps_from_the_target() -> None:
    state, fix = fix_over(200.0)
    arrow = arrow_of(fix, VIEW)
    assert isinstance(arrow, Arrow)
    assert arrow.tick_mm == 0.1
    assert arrow.label == "ticks 0.1 mm"
    assert len(arrow.ticks) == int(fix.distance_mm / 0.1)
    for number, (one, other) in enumerate(arrow.ticks, start=1):
        at = VIEW.to_picture(PointWidget((one.x + other.x) / 2.0, (one.y + other.y) / 2.0))
        off = PointPx(at.u - fix.target_px.u, at.v - fix.target_px.v)
        assert math.hypot(*scale_of(state.snapshot).to_mm(off)) == pytest.approx(0.1 * number)


@pytest.mark.parametrize(
    ("px_per_mm", "step_mm"), [(270.0, 0.1), (60.0, 0.2), (5000.0, 0.005), (1000.0, 0.02)]
)
def test_ticks_are_a_tenth_or_what_fits(px_per_mm: float, step_mm: float) -> None:
    assert tick_step_mm(px_per_mm) == pytest.approx(step_mm)


def test_a_very_short_arrow_becomes_a_diamond() -> None:
    _, fix = fix_over(SHORTEST_ARROW_PX - 1.0)
    mark = arrow_of(fix, VIEW)
    assert mark == OnTarget(at=VIEW.to_widget(fix.target_px), label="")


def test_only_without_a_step_left_the_words_say_on_target() -> None:
    _, fix = fix_over(2.0)
    nothing = replace(fix.plan, step_mm=PointMm(0.0, 0.0), jogs=())
    mark = arrow_of(replace(fix, plan=nothing), VIEW)
    assert isinstance(mark, OnTarget)
    assert mark.label == "on target"


def test_the_corner_marks_stand_about_the_target() -> None:
    state = STATES["tool"]()
    assert state.fix is not None
    brackets = overlay_of(state, VIEW).brackets
    at = VIEW.to_widget(state.fix.target_px)
    half = 1.4 * bore().radius_px * VIEW.scale
    assert {(round(c.x - at.x, 6), round(c.y - at.y, 6)) for _, c, _ in brackets} == {
        (round(a * half, 6), round(b * half, 6)) for a in (-1, 1) for b in (-1, 1)
    }


def test_before_the_scale_there_are_no_axes_no_bar_no_arrow() -> None:
    overlay = overlay_of(STATES["first place"](), VIEW)
    assert overlay.axes == ()
    assert overlay.scale_bar is None
    assert overlay.arrow is None
    assert overlay.dashes


def test_the_axes_lie_as_the_machine_moves_the_bore() -> None:
    state = STATES["tool"]()
    for axis, column in zip(
        overlay_of(state, VIEW).axes, scale_of(state.snapshot).matrix_px_per_mm.T, strict=True
    ):
        assert np.allclose(axis.direction, column / np.linalg.norm(column))
        assert axis.name in ("+X", "+Y")


def test_the_scale_bar_is_as_long_as_it_says() -> None:
    state = STATES["tool"]()
    bar = overlay_of(state, VIEW).scale_bar
    assert bar is not None
    step = scale_of(state.snapshot).to_mm(PointPx(bar.length_px / VIEW.scale, 0.0))
    assert f"{math.hypot(*step):.3g} mm" == bar.words
    assert bar.length_px <= 140.0


def test_nothing_found_draws_no_rim_but_keeps_the_target() -> None:
    overlay = overlay_of(STATES["no bore"](), VIEW)
    assert overlay.dashes == ()
    assert overlay.bore is None
    assert overlay.brackets


def test_part_of_a_rim_is_pointed_at_from_the_nearest_edge() -> None:
    overlay = overlay_of(STATES["part of a rim"](), VIEW)
    assert overlay.chevron is not None
    assert overlay.chevron.direction == PointWidget(0.0, -1.0)
    assert overlay.chevron.tip.y < 40.0
    assert overlay.arrow is None


@pytest.mark.parametrize(
    ("towards", "direction"),
    [
        (PointPx(-30.0, 200.0), PointWidget(-1.0, 0.0)),
        (PointPx(700.0, 200.0), PointWidget(1.0, 0.0)),
        (PointPx(300.0, 470.0), PointWidget(0.0, 1.0)),
    ],
)
def test_a_chevron_stands_inside_the_picture(towards: PointPx, direction: PointWidget) -> None:
    chevron = chevron_towards(towards, VIEW)
    assert chevron.direction == direction
    assert VIEW.holds(VIEW.to_picture(chevron.tip))


def test_an_old_answer_or_one_of_another_opening_is_stale() -> None:
    answer, frame = glance(bore()), shown()
    assert not is_stale(answer, frame)
    later = replace(frame, frame=replace(frame.frame, arrived_at_s=1.8))
    assert is_stale(answer, later)
    reopened = replace(frame, frame=replace(frame.frame, camera_generation=2))
    assert is_stale(answer, reopened)
    assert not is_stale(None, frame)


def test_what_is_stale_or_not_live_is_dimmed() -> None:
    state = STATES["tool"]()
    assert not overlay_of(state, VIEW).dimmed
    assert overlay_of(state, VIEW, is_stale=True).dimmed
    lost = overlay_of(STATES["lost camera"](), VIEW)
    assert lost.dimmed
    assert lost.target_dimmed


def test_an_answer_to_a_picture_of_another_size_is_not_drawn() -> None:
    overlay = overlay_of(STATES["tool"](), VIEW.with_picture((1280, 960)))
    assert overlay.dashes == ()
    assert overlay.arrow is None
