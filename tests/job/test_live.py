"""The correction: which way to jog, how far, and how sure that is."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.job.facts import UNKNOWN, Approach, Fact, Position, Purpose
from app.job.live import Correction, Seen, correction, correction_towards
from app.job.snapshot import Snapshot, snapshot_of
from tests.job.conftest import JOGS, PaperMachine, make_profile, run_of
from vision.bore import BoreFit, BoreRefusal, Reason
from vision.geometry import CovPx2, PointPx

PLACE = Position(150.0, 100.0, 5.0)
SMALL = CovPx2(0.01, 0.0, 0.01)


def fit_at(u: float, v: float, cov: CovPx2 = SMALL) -> BoreFit:
    return BoreFit(
        centre_px=PointPx(u, v),
        temporal_cov_px2=cov,
        static_cov_px2=SMALL,
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


def seen(fit: BoreFit | BoreRefusal) -> Seen:
    return Seen(frame_id=1, arrived_at_s=0.0, camera_generation=1, fit=fit)


def refusal(towards: PointPx | None) -> BoreRefusal:
    return BoreRefusal(
        reason=Reason.PART_IN_VIEW, message="A rim.", remedy="Jog.", towards_px=towards
    )


@pytest.fixture
def snapshot(paper: PaperMachine, scale_facts: list[Fact]) -> Snapshot:
    return snapshot_of(run_of(*scale_facts, paper.sighted(0, PLACE)))


def shown(snapshot: Snapshot, fit: BoreFit, arrived: Approach = UNKNOWN) -> Correction:
    found = correction(snapshot, seen(fit), arrived=arrived)
    assert found is not None
    return found


def test_it_is_minus_what_the_nozzle_stands_off(paper: PaperMachine, snapshot: Snapshot) -> None:
    centre = paper.centre(0, (150.2, 99.9))
    found = shown(snapshot, fit_at(*centre))
    assert found.jog_mm == pytest.approx((-0.2, 0.1), abs=1e-6)
    assert found.distance_mm == pytest.approx(math.hypot(0.2, 0.1))
    assert found.bore_px == centre
    assert found.target_px == paper.centre(0, (150.0, 100.0))


def test_following_it_brings_the_bore_to_the_target(
    paper: PaperMachine, snapshot: Snapshot
) -> None:
    here = Position(150.23, 99.91, 5.0)
    found = shown(snapshot, fit_at(*paper.centre(1, here[:2])))
    there = found.plan.to(here)
    u, v = np.array(paper.centre(1, there[:2])) - np.array(found.target_px)
    # Half a displayed step is left at most in each axis: 5 um, 1.3 px together.
    assert math.hypot(u, v) < 1.4


@settings(max_examples=30, deadline=None)
@given(st.floats(-1.0, 1.0), st.floats(-1.0, 1.0), st.sampled_from([0.1, 0.01, 0.05, 0.001]))
def test_jogs_are_whole_displayed_steps_and_end_growing(x: float, y: float, step: float) -> None:
    profile = make_profile(display_step_mm=step)
    paper = PaperMachine(profile=profile, vectors_mm={0: (0.0, 0.0)})
    run = run_of(
        paper.started(),
        *(
            paper.sighted(0, Position(150.0 + dx, 100.0 + dy, 5.0), purpose=Purpose.SCALE)
            for dx, dy in JOGS
        ),
    )
    placed = replace(snapshot_of(run), target_px=PointPx(320.0, 240.0))
    found = correction(placed, seen(fit_at(*paper.centre(0, (150.0 + x, 100.0 + y)))))
    assert found is not None
    last: dict[str, float] = {}
    for jog in found.plan.jogs:
        assert jog.step_mm / step == pytest.approx(round(jog.step_mm / step), abs=1e-6)
        last[jog.axis] = jog.step_mm
    assert all(value > 0 for value in last.values())
    assert found.plan.approach == Approach(1, 1)
    assert found.plan.step_mm == pytest.approx(found.jog_mm, abs=step / 2 + 1e-6)


def test_an_axis_that_came_from_the_right_side_and_needs_no_jog_gets_none(
    paper: PaperMachine, snapshot: Snapshot
) -> None:
    found = shown(snapshot, fit_at(*paper.centre(0, (149.8, 100.0))), Approach(1, 1))
    assert [(jog.axis, jog.step_mm) for jog in found.plan.jogs] == [("X", 0.2)]


def test_its_uncertainty_is_that_of_the_sighting_and_the_scale(
    snapshot: Snapshot,
) -> None:
    target = snapshot.target_px
    assert target is not None
    near = shown(snapshot, fit_at(*target, cov=CovPx2(0.25, 0.0, 0.25)))
    # sqrt(0.25 + 0.01) px of 5.5 um, at k = 2.
    px_um = 1e3 / math.sqrt(180.0 * 182.0)
    assert near.expanded_mm.x * 1e3 == pytest.approx(2 * math.sqrt(0.26) * px_um, rel=0.02)
    far = shown(snapshot, fit_at(target.u + 180.0, target.v, cov=CovPx2(0.25, 0.0, 0.25)))
    assert far.expanded_mm.x > near.expanded_mm.x


def test_there_is_none_before_the_scale(paper: PaperMachine, scale_facts: list[Fact]) -> None:
    run = run_of(*scale_facts[:4], paper.sighted(0, PLACE))
    assert correction(snapshot_of(run), seen(fit_at(320.0, 240.0))) is None


def test_there_is_none_before_the_target(scale_facts: list[Fact]) -> None:
    run = run_of(*scale_facts)
    assert correction(snapshot_of(run), seen(fit_at(320.0, 240.0))) is None


def test_there_is_none_where_the_finder_refused(snapshot: Snapshot) -> None:
    towards = refusal(PointPx(300.0, -20.0))
    assert correction(snapshot, seen(towards)) is None
    assert correction_towards(snapshot, refusal(None)) is None


def test_part_of_a_rim_gives_a_rough_one(snapshot: Snapshot) -> None:
    assert snapshot.target_px is not None
    # A rim at the top edge, 260 px above the target.
    point = PointPx(snapshot.target_px.u, snapshot.target_px.v - 260.0)
    found = correction_towards(snapshot, refusal(point))
    assert found is not None
    assert found.bore_px == point
    assert found.jog_mm.y == pytest.approx(260.0 / 182.7, rel=0.01)
