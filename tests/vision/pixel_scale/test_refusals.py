"""Jogs that give no scale are refused with their reason and what to do about it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.vision.pixel_scale.made_jogs import (
    CROSS5,
    GRID9,
    PENTAGON5,
    SIGMA_MM,
    SQUARE4,
    START_MM,
    learn,
    learnt,
    matrix,
    seen,
    sightings,
)
from vision.geometry import CovMm2
from vision.pixel_scale import (
    Axis,
    PixelScale,
    ScaleChange,
    ScaleReason,
    ScaleRefusal,
    compare_scales,
    learn_scale,
)


def _refused(read_mm: np.ndarray, centres_px: np.ndarray) -> ScaleRefusal:
    refusal = learn(read_mm, centres_px)
    assert isinstance(refusal, ScaleRefusal), refusal
    assert refusal.message
    assert refusal.remedy
    return refusal


@pytest.mark.parametrize("count", [0, 1, 2])
def test_fewer_than_three_jogs_are_too_few(count: int) -> None:
    read = START_MM + PENTAGON5[:count]
    assert _refused(read, seen(read, matrix(), None)).reason is ScaleReason.TOO_FEW


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_number_that_is_none_is_named_by_its_jog(value: float) -> None:
    read = START_MM + PENTAGON5
    centres = seen(read, matrix(), None)
    centres[2, 1] = value
    refusal = _refused(read, centres)
    assert refusal.reason is ScaleReason.NOT_FINITE
    assert "jog 3" in refusal.message


def test_one_position_for_all_is_refused() -> None:
    read = np.repeat(START_MM[None], 5, axis=0)
    centres = seen(read, matrix(), np.random.default_rng(1))
    assert _refused(read, centres).reason is ScaleReason.ALL_ALIKE


def test_a_picture_that_stands_still_is_refused() -> None:
    centres = seen(np.repeat(START_MM[None], 5, axis=0), matrix(), None)
    refusal = _refused(START_MM + PENTAGON5, centres)
    assert refusal.reason is ScaleReason.ALL_ALIKE
    assert "stands still" in refusal.message


@pytest.mark.parametrize("across", [0.0, 0.02])
def test_jogs_on_a_line_are_refused(across: float) -> None:
    rng = np.random.default_rng(2)
    along = np.linspace(-1.0, 1.0, 6)
    read = START_MM + np.column_stack([along, 0.5 * along + across * (along**2 - 0.5)])
    refusal = _refused(read, seen(read, matrix(), rng))
    assert refusal.reason is ScaleReason.COLLINEAR


def test_entries_on_a_line_that_show_apart_contradict_the_picture() -> None:
    read = START_MM + SQUARE4
    centres = seen(read, matrix(), np.random.default_rng(3))
    read[2] = read[2, ::-1]
    refusal = _refused(read, centres)
    assert refusal.reason is ScaleReason.CONTRADICTORY


@pytest.mark.parametrize(("reach_mm", "axis"), [((0.1, 1.0), "X"), ((1.0, 0.1), "Y")])
def test_short_jogs_are_refused_and_the_axis_named(
    reach_mm: tuple[float, float], axis: str
) -> None:
    rng = np.random.default_rng(4)
    for _ in range(30):
        read = START_MM + GRID9 * reach_mm
        refusal = _refused(read, seen(read, matrix(turn_deg=0.0), rng))
        assert refusal.reason is ScaleReason.TOO_SHORT
        assert f"along {axis}" in refusal.message


def test_jogs_that_are_long_enough_are_not_too_short() -> None:
    rng = np.random.default_rng(5)
    for _ in range(30):
        read = START_MM + 0.5 * PENTAGON5
        assert isinstance(learn(read, seen(read, matrix(), rng)), PixelScale)


def test_an_axis_in_other_units_is_implausible() -> None:
    read = START_MM + PENTAGON5
    centres = seen(read, matrix(), np.random.default_rng(6))
    read = START_MM + PENTAGON5 * np.array([0.4, 1.0])
    refusal = _refused(read, centres)
    assert refusal.reason is ScaleReason.IMPLAUSIBLE
    assert "axis was entered wrongly" in refusal.message


def test_axes_far_from_a_right_angle_are_implausible() -> None:
    read = START_MM + PENTAGON5
    assert _refused(read, seen(read, matrix(skew_deg=40.0), None)).reason is ScaleReason.IMPLAUSIBLE
    assert isinstance(learn(read, seen(read, matrix(skew_deg=25.0), None)), PixelScale)


def test_y_that_never_moved_is_implausible() -> None:
    read = START_MM + GRID9
    real = read.copy()
    real[:, 1] = START_MM[1]
    refusal = _refused(read, seen(real, matrix(), np.random.default_rng(7)))
    assert refusal.reason is ScaleReason.IMPLAUSIBLE
    assert "one line" in refusal.message


def test_a_machine_that_goes_elsewhere_is_refused() -> None:
    rng = np.random.default_rng(8)
    for _ in range(40):
        read = START_MM + GRID9
        real = read + rng.normal(0.0, 0.15, read.shape)
        refusal = _refused(read, seen(real, matrix(), rng))
        assert refusal.reason is ScaleReason.CONTRADICTORY


def test_scatter_that_was_stated_is_no_contradiction() -> None:
    # A display of 0.1 mm steps hides up to half a step: stated, so expected.
    rng = np.random.default_rng(9)
    hidden = 0.1 / math.sqrt(12.0)
    for _ in range(40):
        real = START_MM + CROSS5 * 1.5 + rng.uniform(-0.05, 0.05, CROSS5.shape)
        centres = seen(real, matrix(), rng)
        result = learn(START_MM + CROSS5 * 1.5, centres, sigma_mm=math.hypot(hidden, SIGMA_MM))
        assert isinstance(result, PixelScale), result


def _scale(M: np.ndarray, seed: int, layout: np.ndarray = PENTAGON5) -> PixelScale:
    read = START_MM + layout
    return learnt(read, seen(read, M, np.random.default_rng(seed)))


def test_the_same_camera_again_gives_no_finding() -> None:
    found = [
        compare_scales(_scale(matrix(), 2 * i), _scale(matrix(), 2 * i + 1)) for i in range(150)
    ]
    # Three tests of three standard uncertainties each: under 1 % by chance.
    assert np.mean([bool(findings) for findings in found]) < 0.04


def test_a_mirrored_picture_is_found_alone() -> None:
    (finding,) = compare_scales(_scale(matrix(), 1), _scale(matrix(flip=True), 2))
    assert finding.change is ScaleChange.MIRRORED
    assert "mirrored" in finding.message


def test_a_turned_camera_is_found_across_the_half_turn() -> None:
    (finding,) = compare_scales(
        _scale(matrix(turn_deg=178.0), 1), _scale(matrix(turn_deg=-177.0), 2)
    )
    assert finding.change is ScaleChange.TURNED
    assert finding.amount == pytest.approx(5.0, abs=4.0 * finding.u_amount)


def test_another_magnification_is_found_in_both_axes() -> None:
    findings = compare_scales(_scale(matrix(6.0), 1), _scale(matrix(5.0), 2))
    assert [finding.axis for finding in findings] == [Axis.X, Axis.Y]
    for finding in findings:
        assert finding.change is ScaleChange.RESCALED
        assert finding.amount == pytest.approx(0.2, abs=4.0 * finding.u_amount)


def test_the_machine_s_axes_may_covary() -> None:
    read = START_MM + PENTAGON5
    jogs = sightings(read, seen(read, matrix(), np.random.default_rng(1)))
    assert isinstance(learn_scale(jogs, position_cov_mm2=CovMm2(4e-5, 3.9e-5, 4e-5)), PixelScale)
