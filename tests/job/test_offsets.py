"""Nozzle vectors, and whether their uncertainty is true."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from app.dialects.values import OffsetMm
from app.job.facts import Approach, Position
from app.job.observations import Evidence, MachineFigures, Observation
from app.job.offsets import learn_scale_from, solve
from tests.job.paper_jobs import (
    MATRIX,
    QUIET,
    START_MM,
    VECTORS,
    NoisyShop,
    evidence_of,
    laplace,
    observe,
    plain_job,
    rectangular,
    scale_of,
    solved,
    triangular,
)
from vision.geometry import CovPx2, PointPx
from vision.pixel_scale import PixelScale, ScaleRefusal

PLACES = {0: (150.0, 100.0), 1: (150.3, 99.9), 2: (149.85, 100.45)}


def moved(seen: Observation, mm: tuple[float, float]) -> Observation:
    u, v = np.array(seen.centre_px) + MATRIX @ np.array(mm)
    return replace(seen, centre_px=PointPx(float(u), float(v)))


@pytest.mark.parametrize("rounds", [1, 2, 3])
def test_vectors_agree_with_plain_least_squares_on_differences(rounds: int) -> None:
    rng = np.random.default_rng(rounds)
    order = [tool for _ in range(rounds) for tool in (0, 1, 2)]
    sightings = [
        moved(observe(tool, np.array(PLACES[tool]) + 0.01 * i), tuple(rng.normal(0, 0.004, 2)))
        for i, tool in enumerate(order)
    ]
    evidence = evidence_of(*sightings)
    scale = scale_of(evidence)
    inverse = np.linalg.inv(scale.matrix_px_per_mm)
    places = np.array([inverse @ np.array(s.centre_px) - s.carriage_mm for s in evidence.sightings])
    design = np.array([[float(tool == n) for n in range(3)] for tool in order])
    plain = np.linalg.lstsq(design, places, rcond=None)[0]
    solution = solve(evidence, scale)
    for tool in (1, 2):
        found = solution.tool(tool).vector_mm
        # Weights differ by what the scale's doubt makes of unlike distances: some nanometres.
        assert (found.x, found.y) == pytest.approx(tuple(plain[tool] - plain[0]), abs=1e-5)


def test_the_vector_is_what_the_machine_moved_plus_what_is_left_in_the_picture() -> None:
    # n = (C_0 - C_i) + (e_i - e_0): a tool need not be centred.
    solution = solved(evidence_of(observe(0, (150.0, 100.0)), observe(1, (150.0, 100.0))))
    assert solution.tool(1).vector_mm[:2] == pytest.approx((-0.34, 0.12), abs=1e-6)


def test_what_the_display_contains_is_taken_off() -> None:
    shown = replace(
        observe(1, (150.34, 99.88)),
        shown_mm=Position(150.0, 100.0, 5.0),
        in_display_mm=OffsetMm(-0.34, 0.12, 0.0),
    )
    solution = solved(evidence_of(observe(0, (150.0, 100.0)), shown))
    assert solution.tool(1).vector_mm[:2] == pytest.approx((-0.34, 0.12), abs=1e-6)


def test_the_reference_is_zero_and_stands_first() -> None:
    first = solved(plain_job()).tools[0]
    assert first.tool == 0
    assert tuple(first.vector_mm) == (0.0, 0.0, 0.0)
    assert first.expanded_mm == (0.0, 0.0, 0.0)
    assert first.contributors == ()


def test_a_job_without_its_reference_is_the_callers_mistake() -> None:
    evidence = evidence_of(observe(1, (150.0, 100.0)))
    with pytest.raises(ValueError, match="reference"):
        solve(evidence, scale_of(evidence))


def test_a_repeat_counts() -> None:
    figures = replace(QUIET, repeatability_um=5.0, pickup_repeatability_um=5.0)
    miss = (0.009, -0.006)
    once = [observe(0, (150.0, 100.0)), observe(1, (150.3, 99.9))]
    again = moved(observe(1, (150.31, 99.9)), miss)
    back = observe(0, (150.0, 100.0))
    single = solved(evidence_of(*once, figures=figures)).tool(1)
    double = solved(evidence_of(*once, back, again, figures=figures)).tool(1)
    assert double.sightings == 2
    # Both sightings of equal worth: the vector is their mean.
    assert double.vector_mm.x - single.vector_mm.x == pytest.approx(0.0045, abs=1e-5)
    assert double.vector_mm.y - single.vector_mm.y == pytest.approx(-0.003, abs=1e-5)
    assert double.covariance_mm2.xx < 0.6 * single.covariance_mm2.xx


def test_a_sharp_sighting_outweighs_a_noisy_one() -> None:
    sharp = observe(1, (150.3, 99.9))
    noisy = moved(observe(1, (150.31, 99.9), temporal=(5.0) ** 2), (0.05, 0.0))
    back = observe(0, (150.0, 100.0))
    solution = solved(evidence_of(observe(0, (150.0, 100.0)), sharp, back, noisy))
    assert solution.tool(1).vector_mm.x == pytest.approx(-0.34, abs=0.001)


def test_a_repeat_far_off_the_target_is_worth_less_for_the_scale_is_uncertain() -> None:
    near = observe(1, (150.34, 99.88))
    far = moved(observe(1, (149.34, 99.88)), (0.02, 0.0))
    back = observe(0, (150.0, 100.0))
    evidence = evidence_of(observe(0, (150.0, 100.0)), near, back, far)
    scale = scale_of(evidence)
    exact, doubtful = (
        replace(scale, covariance_px2_per_mm2=np.eye(4) * u_px_per_mm**2)
        for u_px_per_mm in (1e-4, 3.0)
    )
    sure = solve(evidence, exact).tool(1).vector_mm.x
    careful = solve(evidence, doubtful).tool(1).vector_mm.x
    assert sure == pytest.approx(-0.33, abs=0.001)
    assert careful == pytest.approx(-0.34, abs=0.002)


def test_the_order_of_other_tools_does_not_matter() -> None:
    ends = observe(0, (150.0, 100.0))
    one, two = (moved(observe(n, PLACES[n]), (0.003, n * 0.002)) for n in (1, 2))
    there, back = (solved(evidence_of(ends, *s, ends)) for s in ((one, two), (two, one)))
    for tool in (1, 2):
        a, b = there.tool(tool), back.tool(tool)
        assert tuple(a.vector_mm[:2]) == pytest.approx(tuple(b.vector_mm[:2]), abs=1e-12)
        assert tuple(a.covariance_mm2) == pytest.approx(
            tuple(b.covariance_mm2), rel=1e-9, abs=1e-18
        )


def stretched(evidence: Evidence, by: float) -> Evidence:
    def one(s: Observation) -> Observation:
        parts = (CovPx2(*(by**2 * np.array(c))) for c in (s.temporal_cov_px2, s.static_cov_px2))
        temporal, static = parts
        return replace(
            s,
            centre_px=PointPx(by * s.centre_px.u, by * s.centre_px.v),
            temporal_cov_px2=temporal,
            static_cov_px2=static,
        )

    return replace(
        evidence,
        scale_jogs=tuple(map(one, evidence.scale_jogs)),
        sightings=tuple(map(one, evidence.sightings)),
    )


def test_a_camera_with_twice_the_pixels_gives_the_same_offsets() -> None:
    shop = NoisyShop(rounds=2)
    evidence = shop.job(np.random.default_rng(3))
    a, b = solved(evidence), solved(stretched(evidence, 2.0))
    for tool in (1, 2):
        assert tuple(a.tool(tool).vector_mm[:2]) == pytest.approx(
            # The bound on the finder's bias is one of pixels, so that weights shift a little.
            tuple(b.tool(tool).vector_mm[:2]),
            abs=1e-5,
        )
        assert b.tool(tool).expanded_mm[0] <= a.tool(tool).expanded_mm[0]


def turned(evidence: Evidence, angle: float) -> tuple[Evidence, NDArray[np.float64]]:
    """Describe the same job in machine axes that are turned; the pictures stay."""
    c, s = math.cos(angle), math.sin(angle)
    turn = np.array([[c, -s], [s, c]])

    def one(seen: Observation) -> Observation:
        x, y = turn @ np.array(seen.shown_mm[:2])
        return replace(seen, shown_mm=Position(float(x), float(y), seen.shown_mm.z))

    return (
        replace(
            evidence,
            scale_jogs=tuple(map(one, evidence.scale_jogs)),
            sightings=tuple(map(one, evidence.sightings)),
        ),
        turn,
    )


@pytest.mark.parametrize("angle", [0.3, math.pi / 2, 2.5])
def test_turned_machine_axes_turn_the_vectors_and_their_covariance(angle: float) -> None:
    evidence = NoisyShop(rounds=2).job(np.random.default_rng(4))
    # One closure in each axis, so that the drift turns as a whole when it is left out.
    evidence = replace(evidence, sightings=evidence.sightings[:-1])
    other, turn = turned(evidence, angle)
    a, b = solved(evidence), solved(other)
    for tool in (1, 2):
        x = turn @ np.array(a.tool(tool).vector_mm[:2])
        assert tuple(b.tool(tool).vector_mm[:2]) == pytest.approx(tuple(x), abs=1e-8)
        spread = turn @ a.tool(tool).covariance_mm2.matrix() @ turn.T
        assert b.tool(tool).covariance_mm2.matrix() == pytest.approx(spread, abs=1e-10)


def test_the_joint_covariance_is_that_of_many_jobs() -> None:
    shop = NoisyShop(figures=MachineFigures(whole_steps=True, motor_step_mm=0.0))
    rng = np.random.default_rng(6)
    found, said = [], []
    for _ in range(200):
        evidence = shop.job(rng)
        evidence = replace(evidence, sightings=evidence.sightings[:-1])
        solution = solved(evidence)
        between, covariance = solution.between_mm(1, 2)
        found.append(between[:2])
        said.append(covariance.matrix())
    seen = np.cov(np.array(found).T)
    expected = np.mean(said, axis=0)
    # Variance of 200 draws is known to sqrt(2/199) = 10 %: three of that.
    assert np.diag(seen) == pytest.approx(np.diag(expected), rel=0.3)
    mean = np.mean(found, axis=0)
    true = np.array(VECTORS[1]) - np.array(VECTORS[2])
    assert tuple(mean) == pytest.approx(tuple(true), abs=0.002)


def test_the_doubt_of_the_reference_cancels_between_two_other_tools() -> None:
    evidence = evidence_of(
        observe(0, (150.0, 100.0), temporal=4.0), observe(1, PLACES[1]), observe(2, PLACES[2])
    )
    solution = solved(evidence)
    _, between = solution.between_mm(1, 2)
    assert between.xx < 0.1 * solution.tool(1).covariance_mm2.xx
    back, _ = solution.between_mm(2, 1)
    there, same = solution.between_mm(1, 0)
    assert back.x == pytest.approx(
        solution.tool(2).vector_mm.x - solution.tool(1).vector_mm.x, abs=1e-12
    )
    assert there.x == solution.tool(1).vector_mm.x
    assert same.xx == pytest.approx(solution.tool(1).covariance_mm2.xx)


SHOPS = {
    "as stated": NoisyShop(figures=MachineFigures(whole_steps=True)),
    "display hides half a step, long tails": NoisyShop(repeats=laplace),
    "coarse display": NoisyShop(figures=MachineFigures(display_step_mm=0.04)),
    "coarse motors, even scatter, repeats": NoisyShop(
        figures=MachineFigures(whole_steps=True, motor_step_mm=0.02),
        repeats=rectangular,
        rounds=2,
    ),
    "poor docks": NoisyShop(
        figures=MachineFigures(whole_steps=True, pickup_repeatability_um=15.0),
        repeats=triangular,
        rounds=2,
    ),
    "both sides, reversal stated": NoisyShop(
        figures=MachineFigures(whole_steps=True, reversal_um=30.0), sides=(-1, 1)
    ),
    "both sides, reversal unknown": NoisyShop(
        figures=MachineFigures(whole_steps=True), sides=(-1, 1)
    ),
    "creeping camera": NoisyShop(figures=MachineFigures(whole_steps=True), drift_um=15.0),
}


def errors_and_bounds(shop: NoisyShop, jobs: int, seed: int) -> Iterator[tuple[float, float]]:
    rng = np.random.default_rng(seed)
    for _ in range(jobs):
        evidence = shop.job(rng)
        scale = learn_scale_from(evidence)
        if not isinstance(scale, PixelScale):
            continue
        for tool in solve(evidence, scale).tools[1:]:
            for axis in (0, 1):
                error = tool.vector_mm[axis]
                bound = tool.expanded_mm[axis]
                assert error is not None
                assert bound is not None
                yield error - VECTORS[tool.tool][axis], bound


@pytest.mark.slow
def test_the_expanded_uncertainty_holds_in_many_jobs() -> None:
    """JCGM 101:2008, 8: the law of propagation held against draws of the whole job."""
    whole: list[bool] = []
    for seed, (name, shop) in enumerate(SHOPS.items()):
        pairs = list(errors_and_bounds(shop, 38, seed))
        assert len(pairs) > 130, name
        inside = [abs(error) <= bound for error, bound in pairs]
        assert np.mean(inside) >= 0.88, name
        # A bound that is never met says as little as one that fails.
        assert max(abs(error) / bound for error, bound in pairs) > 0.5, name
        whole += inside
    assert 0.92 <= np.mean(whole) <= 0.99


def test_sides_that_nobody_noted_widen_the_result_and_refuse_no_jog() -> None:
    shop = NoisyShop(figures=MachineFigures(whole_steps=True), silent=True)
    told = NoisyShop(figures=MachineFigures(whole_steps=True))
    silent, known = (solved(s.job(np.random.default_rng(8))) for s in (shop, told))
    assert silent.tool(1).expanded_mm[0] > 1.5 * known.tool(1).expanded_mm[0]
    assert silent.tool(1).largest_contributor == "reversal"
    # Half of a usual backlash on either sighting, as stated in the settings.
    largest = silent.tool(1).contributors[0]
    assert largest.u_x_um == pytest.approx(20.0 * math.sqrt(1.5), rel=0.01)


def test_jogs_from_both_sides_measure_the_reversal() -> None:
    rng = np.random.default_rng(9)
    shop = NoisyShop(figures=MachineFigures(whole_steps=True), sides=(-1, 1))
    scales = [learn_scale_from(shop.job(rng)) for _ in range(20)]
    assert not [s.message for s in scales if isinstance(s, ScaleRefusal)]


def test_a_mistyped_jog_is_named_as_it_was_typed_also_where_nobody_noted_the_side() -> None:
    evidence = NoisyShop(silent=True).job(np.random.default_rng(10))
    wrong = evidence.scale_jogs[3]
    typed = wrong.shown_mm._replace(x=round(wrong.shown_mm.x + 0.09, 3))
    jogs = [*evidence.scale_jogs]
    jogs[3] = replace(wrong, shown_mm=typed)
    scale = learn_scale_from(replace(evidence, scale_jogs=tuple(jogs)))
    assert [entry.index for entry in scale.doubtful] == [3]
    assert scale.doubtful[0].read_mm.x == pytest.approx(typed.x, abs=1e-9)
    assert scale.doubtful[0].suggested_mm.x == pytest.approx(wrong.shown_mm.x, abs=0.03)


def test_fewer_than_three_jogs_are_refused_in_words() -> None:
    evidence = plain_job()
    scale = learn_scale_from(replace(evidence, scale_jogs=evidence.scale_jogs[:2]))
    assert isinstance(scale, ScaleRefusal)
    assert "three" in scale.message


def test_a_machine_that_scatters_four_times_as_stated_is_found_out() -> None:
    figures = MachineFigures(
        whole_steps=True, motor_step_mm=0.001, repeatability_um=3.0, pickup_repeatability_um=1.0
    )
    rng = np.random.default_rng(11)
    good = [solved(NoisyShop(figures=figures, rounds=3).job(rng)) for _ in range(20)]
    poor = [solved(NoisyShop(figures=figures, rounds=3, scatter=4.0).job(rng)) for _ in range(20)]
    # One in twenty by the level of the test.
    assert sum(s.repeats_widened for s in good) <= 4
    assert sum(s.repeats_widened for s in poor) >= 18
    grown = [float(np.median([s.tool(1).expanded_mm[0] for s in group])) for group in (good, poor)]
    assert 2.0 < grown[1] / grown[0] < 8.0
    wide = next(s for s in poor if s.repeats_widened)
    assert wide.tool(1).coverage[0] > 2.0


def test_two_sightings_in_one_place_neither_shrink_the_doubt_nor_raise_an_alarm() -> None:
    figures = MachineFigures(whole_steps=True)
    ends = observe(0, (150.0, 100.0))
    here = observe(1, PLACES[1])
    again = moved(here, (0.007, -0.004))
    once = solved(evidence_of(ends, here, figures=figures))
    twice = solved(evidence_of(ends, here, again, figures=figures))
    assert not twice.repeats_widened
    assert twice.tool(1).expanded_mm[0] == pytest.approx(once.tool(1).expanded_mm[0], rel=0.02)


def test_exact_pictures_seen_twice_do_not_break_the_arithmetic() -> None:
    here = observe(1, PLACES[1], temporal=0.0, static=0.0)
    solution = solved(evidence_of(observe(0, (150.0, 100.0), temporal=0.0), here, here))
    assert solution.tool(1).vector_mm.x == pytest.approx(-0.34, abs=1e-6)
    assert not solution.repeats_widened


class TestHeight:
    def test_it_is_not_measured_where_every_sighting_was_at_one_height(self) -> None:
        tool = solved(plain_job()).tool(1)
        assert tool.vector_mm.z is None
        assert tool.expanded_mm[2] is None

    def test_it_is_not_measured_where_one_height_was_not_read(self) -> None:
        evidence = evidence_of(observe(0, (150.0, 100.0)), observe(1, PLACES[1], z=None))
        assert solved(evidence).tool(1).vector_mm.z is None

    def test_a_nozzle_that_hangs_lower_is_negative(self) -> None:
        # Worked example: focused at Z 1.000 and at Z 1.050, so n.z = -0.050.
        evidence = evidence_of(observe(0, (150.0, 100.0), z=1.0), observe(1, PLACES[1], z=1.05))
        tool = solved(evidence).tool(1)
        assert tool.vector_mm.z == pytest.approx(-0.05)
        # Two focusings of 0.04 mm each, at k = 2.
        assert tool.expanded_mm[2] == pytest.approx(2 * 0.04 * math.sqrt(2), rel=0.01)

    def test_repeats_are_averaged(self) -> None:
        ends = observe(0, (150.0, 100.0), z=1.0)
        evidence = evidence_of(
            ends, observe(1, PLACES[1], z=1.04), ends, observe(1, PLACES[1], z=1.06), ends
        )
        tool = solved(evidence).tool(1)
        assert tool.vector_mm.z == pytest.approx(-0.05)
        assert tool.expanded_mm[2] == pytest.approx(2 * 0.04 * math.sqrt(1 / 2 + 1 / 3), rel=0.01)

    def test_an_offset_in_the_display_is_taken_off(self) -> None:
        shown = replace(observe(1, PLACES[1], z=1.0), in_display_mm=OffsetMm(0.0, 0.0, -0.05))
        tool = solved(evidence_of(observe(0, (150.0, 100.0), z=1.01), shown)).tool(1)
        assert tool.vector_mm.z == pytest.approx(1.01 - 1.05)


class TestClosure:
    def test_it_is_what_was_put_in(self) -> None:
        back = moved(observe(0, (150.0, 100.0)), (0.02, -0.012))
        evidence = evidence_of(observe(0, (150.0, 100.0)), observe(1, PLACES[1]), back)
        assert solved(evidence).closure_um == pytest.approx((20.0, -12.0), abs=1e-3)

    def test_there_is_none_with_one_sighting_of_the_reference(self) -> None:
        solution = solved(evidence_of(observe(0, (150.0, 100.0)), observe(1, PLACES[1])))
        assert solution.closure_um is None
        assert solution.closure_sigma_um is None

    def test_it_enters_once_as_drift_over_the_root_of_twelve(self) -> None:
        back = moved(observe(0, (150.0, 100.0)), (0.003, -0.001))
        evidence = evidence_of(observe(0, (150.0, 100.0)), observe(1, PLACES[1]), back)
        solution = solve(replace(evidence, figures=MachineFigures()), scale_of(evidence))
        assert not solution.repeats_widened
        drift = next(c for c in solution.tool(1).contributors if c.name == "drift")
        assert drift.u_x_um == pytest.approx(3.0 / math.sqrt(12.0), rel=1e-3)
        assert drift.u_y_um == pytest.approx(1.0 / math.sqrt(12.0), rel=1e-3)

    def test_the_reference_is_the_mean_of_its_sightings(self) -> None:
        back = moved(observe(0, (150.01, 100.0)), (0.004, 0.0))
        evidence = evidence_of(observe(0, (150.0, 100.0)), observe(1, PLACES[1]), back)
        assert solved(evidence).tool(1).vector_mm.x == pytest.approx(-0.342, abs=1e-5)

    def test_a_reference_that_came_from_the_other_side_closes_by_the_reversal(self) -> None:
        figures = replace(QUIET, reversal_um=None)
        back = moved(observe(0, (150.0, 100.0), approach=Approach(-1, 1)), (0.04, 0.0))
        evidence = evidence_of(
            observe(0, (150.0, 100.0)), observe(1, PLACES[1]), back, figures=figures
        )
        solution = solved(evidence)
        assert solution.closure_um is not None
        assert solution.closure_sigma_um is not None
        assert solution.closure_um[0] == pytest.approx(40.0, abs=1e-3)
        assert solution.closure_sigma_um[0] == pytest.approx(40.0, rel=0.01)
        assert solution.closure_sigma_um[1] < 3.0


def test_residuals_are_read_only_and_one_row_a_sighting() -> None:
    solution = solved(plain_job())
    assert solution.residuals_um.shape == (4, 2)
    with pytest.raises(ValueError, match="read-only"):
        solution.residuals_um[0, 0] = 1.0
    with pytest.raises(KeyError):
        solution.tool(9)


def test_the_target_is_the_first_reference_sighting() -> None:
    evidence = plain_job()
    assert solved(evidence).target_px == evidence.sightings[0].centre_px
    assert tuple(START_MM) == evidence.sightings[0].carriage_mm
