"""Each contributor alone against its hand formula."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from app.job.budget import (
    DEFAULT_SETTINGS,
    REMEDIES,
    SCALE,
    OffsetSettings,
    contributor_covariances,
    falling_share,
    judged_covariance,
    position_sigma_mm,
    reversal_mm,
)
from app.job.facts import Approach
from app.job.observations import Evidence, MachineFigures, Observation
from app.job.offsets import ToolOffset, solve
from tests.job.paper_jobs import (
    MATRIX,
    QUIET,
    evidence_of,
    numbered,
    observe,
    plain_job,
    scale_of,
    solved,
)
from vision.pixel_scale import PixelScale

STILL = OffsetSettings(finder_bias_px=0.0, focus_sigma_mm=0.0)
"""Settings in which neither the finder nor the tilt says anything."""

EXACT = replace(QUIET, repeatability_um=1e-4)

PX_MM = 1.0 / math.sqrt(float(np.linalg.det(MATRIX)))
"""What a pixel is worth; the paper camera's axes are alike to two percent."""


def exact_scale(evidence: Evidence) -> PixelScale:
    return replace(scale_of(evidence), covariance_px2_per_mm2=np.eye(4) * 1e-12)


def two_sightings(figures: MachineFigures, **changes: float) -> Evidence:
    return evidence_of(
        observe(0, (150.0, 100.0), **changes),  # type: ignore[arg-type]  # named figures only
        observe(1, (150.3, 99.9), **changes),  # type: ignore[arg-type]
        figures=figures,
    )


def part(
    evidence: Evidence,
    name: str,
    settings: OffsetSettings = STILL,
    scale: PixelScale | None = None,
) -> tuple[float, float]:
    tool = solve(evidence, scale or exact_scale(evidence), settings).tool(1)
    found = next(c for c in tool.contributors if c.name == name)
    return found.u_x_um, found.u_y_um


def test_temporal_noise_of_both_sightings() -> None:
    u = part(two_sightings(EXACT, temporal=0.3**2, static=0.0), "sighting")
    assert u == pytest.approx((0.3 * PX_MM * 1e3 * math.sqrt(2),) * 2, rel=0.02)


def test_static_noise_of_both_tips() -> None:
    u = part(two_sightings(EXACT, temporal=0.0, static=0.2**2), "sighting")
    assert u == pytest.approx((0.2 * PX_MM * 1e3 * math.sqrt(2),) * 2, rel=0.02)


def test_the_static_part_is_not_shrunk_by_repeats_and_the_temporal_part_is() -> None:
    def of(**noise: float) -> float:
        tools = [observe(n, (150.0 + 0.01 * i, 100.0), **noise) for i, n in enumerate((0, 1, 0, 1))]  # type: ignore[arg-type]
        evidence = evidence_of(*tools, figures=EXACT)
        return part(evidence, "sighting")[0]

    one = 0.2 * PX_MM * 1e3
    assert of(temporal=0.0, static=0.2**2) == pytest.approx(one * math.sqrt(2), rel=0.02)
    assert of(temporal=0.2**2, static=0.0) == pytest.approx(one, rel=0.02)


def test_the_finders_bias_is_a_rectangular_bound_for_each_tip() -> None:
    settings = replace(STILL, finder_bias_px=0.1)
    u = part(two_sightings(EXACT), "finder", settings)
    assert u == pytest.approx((0.1 / math.sqrt(3) * PX_MM * 1e3 * math.sqrt(2),) * 2, rel=0.02)


@pytest.mark.parametrize(
    ("figures", "expected_um"),
    [
        (MachineFigures(repeatability_um=7.0, motor_step_mm=0.0, whole_steps=True), 7.0),
        (
            MachineFigures(repeatability_um=3.0, motor_step_mm=0.0125, whole_steps=True),
            math.hypot(3.0, 12.5 / math.sqrt(12)),
        ),
        (
            MachineFigures(repeatability_um=3.0, motor_step_mm=0.0, display_step_mm=0.1),
            math.hypot(3.0, 100.0 / math.sqrt(12)),
        ),
    ],
)
def test_a_position_is_repeatability_and_what_steps_hide(
    figures: MachineFigures, expected_um: float
) -> None:
    """Rectangular, JCGM 100:2008, 4.3.7 and F.2.2.1 (resolution: step / sqrt(12))."""
    assert position_sigma_mm(figures) * 1e3 == pytest.approx(expected_um)


def test_the_position_enters_for_both_tools() -> None:
    u = part(two_sightings(replace(QUIET, repeatability_um=6.0)), "position")
    assert u == pytest.approx((6.0 * math.sqrt(2),) * 2, rel=1e-3)


def test_a_position_is_worth_a_repeat_only_where_it_was_another_place() -> None:
    figures = replace(QUIET, repeatability_um=6.0)
    ends = observe(0, (150.0, 100.0))
    here, there = observe(1, (150.3, 99.9)), observe(1, (150.31, 99.9))
    alone = part(evidence_of(ends, here, figures=figures), "position")[0]
    same = part(evidence_of(ends, here, here, figures=figures), "position")[0]
    anew = part(evidence_of(ends, here, there, figures=figures), "position")[0]
    assert same == pytest.approx(alone, rel=1e-3)
    assert anew == pytest.approx(6.0 * math.sqrt(1.5), rel=1e-3)


def test_pickup_scatter_is_shared_within_one_pickup() -> None:
    figures = replace(EXACT, pickup_repeatability_um=8.0)
    ends = observe(0, (150.0, 100.0))
    here, there = observe(1, (150.3, 99.9)), observe(1, (150.31, 99.9))
    together = part(evidence_of(ends, here, there, figures=figures), "pick-up")[0]
    apart = part(evidence_of(ends, here, ends, there, figures=figures), "pick-up")[0]
    assert together == pytest.approx(8.0 * math.sqrt(2), rel=1e-3)
    assert apart == pytest.approx(8.0, rel=1e-3)


def test_nozzles_that_are_bolted_down_have_no_pickup_scatter() -> None:
    assert part(two_sightings(EXACT), "pick-up") == (0.0, 0.0)


def test_tilt_times_what_focusing_leaves() -> None:
    settings = replace(STILL, focus_sigma_mm=0.04, tilt_bound_deg=4.0)
    one_um = 40.0 * math.radians(4.0) / math.sqrt(3)
    u = part(two_sightings(EXACT), "tilt", settings)
    assert u == pytest.approx((one_um * math.sqrt(2),) * 2, rel=1e-3)


def test_the_scale_enters_by_how_far_a_tool_stands_from_the_target() -> None:
    evidence = evidence_of(observe(0, (150.0, 100.0)), observe(1, (150.84, 99.88)), figures=EXACT)
    u_px_per_mm = 1.5
    scale = replace(scale_of(evidence), covariance_px2_per_mm2=np.eye(4) * u_px_per_mm**2)
    # Half a millimetre off along X alone: 0.5 mm times the relative uncertainty.
    u = part(evidence, SCALE, scale=scale)
    assert u == pytest.approx((0.5 * u_px_per_mm * PX_MM * 1e3,) * 2, rel=0.02)


def test_the_scale_says_nothing_of_a_tool_at_the_target() -> None:
    evidence = evidence_of(observe(0, (150.0, 100.0)), observe(1, (150.34, 99.88)), figures=EXACT)
    scale = replace(scale_of(evidence), covariance_px2_per_mm2=np.eye(4))
    assert max(part(evidence, SCALE, scale=scale)) < 1e-3


class TestReversal:
    FALLING = Approach(-1, 1)

    def job(self, reversal_um: float | None, *approaches: Approach) -> Evidence:
        sides = approaches or (Approach(1, 1), Approach(1, 1))
        seen = [observe(n, (150.0, 100.0), approach=side) for n, side in enumerate(sides)]
        return evidence_of(*seen, figures=replace(EXACT, reversal_um=reversal_um))

    def test_it_stays_out_where_all_came_from_one_side(self) -> None:
        for side in (Approach(1, 1), self.FALLING):
            assert max(part(self.job(None, side, side), "reversal")) < 1e-6

    def test_unknown_it_counts_as_a_usual_one_where_the_sides_differ(self) -> None:
        x, y = part(self.job(None, Approach(1, 1), self.FALLING), "reversal")
        assert x == pytest.approx(40.0, rel=1e-3)
        assert y < 1e-6

    def test_stated_it_is_taken_off_and_half_of_it_stays_as_doubt(self) -> None:
        evidence = self.job(30.0, Approach(1, 1), self.FALLING)
        plain = self.job(30.0)
        assert part(evidence, "reversal")[0] == pytest.approx(15.0, rel=1e-3)
        shift = (
            solve(evidence, exact_scale(evidence)).tool(1).vector_mm.x
            - solve(plain, exact_scale(plain)).tool(1).vector_mm.x
        )
        # A place that was reached falling lies higher by the backlash, so its tool less.
        assert shift == pytest.approx(-0.030, abs=1e-6)

    def test_unknown_sides_allow_half_of_it_for_each_sighting(self) -> None:
        unknown = Approach()
        both = part(self.job(None, unknown, unknown), "reversal")
        assert both == pytest.approx((20.0 * math.sqrt(2),) * 2, rel=1e-3)
        stated = part(self.job(30.0, unknown, unknown), "reversal")
        half = math.hypot(30.0, 15.0) / 2
        assert stated == pytest.approx((half * math.sqrt(2),) * 2, rel=1e-3)

    def test_a_tool_that_was_seen_from_both_sides_measures_it(self) -> None:
        seen = [
            observe(0, (150.0, 100.0)),
            observe(0, (150.01, 100.0), approach=self.FALLING, off_mm=(0.025, 0.0)),
            observe(1, (150.3, 99.9), approach=self.FALLING, off_mm=(0.025, 0.0)),
        ]
        figures = replace(QUIET, reversal_um=None, repeatability_um=2.0)
        evidence = evidence_of(*seen, figures=figures)
        tool = solve(evidence, exact_scale(evidence)).tool(1)
        assert tool.vector_mm.x == pytest.approx(-0.34, abs=1e-3)
        assert tool.expanded_mm[0] < 0.02

    def test_what_is_believed_before_looking(self) -> None:
        assert reversal_mm(replace(QUIET, reversal_um=None), DEFAULT_SETTINGS) == (0.0, 0.04)
        assert reversal_mm(replace(QUIET, reversal_um=20.0), DEFAULT_SETTINGS) == (0.02, 0.01)
        assert reversal_mm(replace(QUIET, reversal_um=0.0), DEFAULT_SETTINGS) == (0.0, 0.001)

    def test_the_share_of_it_per_side(self) -> None:
        sides = [Approach(1, -1), Approach(0, 1)]
        seen = [observe(0, (150.0, 100.0), approach=side) for side in sides]
        assert falling_share(seen).tolist() == [[0.0, 1.0], [0.5, 0.0]]


def squares(tool: ToolOffset) -> tuple[float, float]:
    return (
        1e-6 * sum(c.u_x_um**2 for c in tool.contributors),
        1e-6 * sum(c.u_y_um**2 for c in tool.contributors),
    )


def test_contributors_add_up_to_the_covariance_and_the_largest_stands_first() -> None:
    solution = solved(plain_job(MachineFigures()))
    for tool in solution.tools[1:]:
        sums = squares(tool)
        assert sums == pytest.approx((tool.covariance_mm2.xx, tool.covariance_mm2.yy), rel=1e-9)
        sizes = [math.hypot(c.u_x_um, c.u_y_um) for c in tool.contributors]
        assert sizes == sorted(sizes, reverse=True)
        assert tool.largest_contributor == tool.contributors[0].name
        assert all(c.remedy == REMEDIES[c.name] for c in tool.contributors)


def test_every_contributor_of_a_whole_job_is_named() -> None:
    names = {c.name for c in solved(plain_job(MachineFigures())).tool(1).contributors}
    assert names == {
        "sighting",
        "finder",
        "pixel scale",
        "position",
        "reversal",
        "pick-up",
        "drift",
        "tilt",
    }


def test_all_parts_are_symmetric_and_not_negative() -> None:
    seen: list[Observation] = [
        observe(n, (150.0 + 0.1 * n, 100.0), approach=Approach(side, 0))
        for n, side in ((0, 1), (1, -1), (1, 0), (2, 1), (0, 0))
    ]
    evidence = evidence_of(*numbered(seen), figures=MachineFigures())
    parts = contributor_covariances(
        evidence, scale_of(evidence), np.array([0.01, -0.02]), DEFAULT_SETTINGS
    )
    for name, covariance in parts.items():
        assert covariance == pytest.approx(covariance.T), name
        assert np.linalg.eigvalsh(covariance)[0] > -1e-15, name
    judged = judged_covariance(evidence, parts)
    assert np.diag(judged) == pytest.approx(np.diag(sum(parts.values())))
