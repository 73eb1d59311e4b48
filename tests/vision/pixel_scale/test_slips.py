"""The hint at a slip is exact: the one slip gives what the picture says, or there is none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.vision.pixel_scale.made_jogs import (
    PENTAGON5,
    SIGMA_MM,
    START_MM,
    matrix,
    seen,
    sightings,
)
from vision.geometry import CovMm2, PointMm
from vision.pixel_scale import Axis, ScaleRefusal, Slip, doubtful_sentence, learn_scale
from vision.pixel_scale.slips import recognise

Place = tuple[float, float]


def hint(
    read: Place,
    suggested: Place,
    *,
    before: Place | None = None,
    sigma_mm: float = 0.008,
    decimals: int = 2,
) -> Slip | None:
    differs = [a != b for a, b in zip(read, suggested, strict=True)]
    return recognise(
        np.array(read),
        np.array(suggested),
        None if before is None else np.array(before),
        axis=Axis.BOTH if all(differs) else Axis.X if differs[0] else Axis.Y,
        sigma_mm=sigma_mm,
        decimals=decimals,
    )


@pytest.mark.parametrize(
    ("read", "suggested"),
    [
        (150.43, 150.34),
        (150.43, 150.355),  # 15 um are within two standard uncertainties
        (105.34, 150.34),
        (153.04, 150.34),  # across the point
        (149.04, 149.40),  # the zero at the end was shown, and exchanged
        (-12.43, -12.34),
        (0.51, 0.15),
    ],
)
def test_neighbouring_digits_that_were_exchanged(read: float, suggested: float) -> None:
    assert hint((read, 99.88), (suggested, 99.88)) is Slip.DIGITS_SWAPPED
    assert hint((99.88, read), (99.88, suggested)) is Slip.DIGITS_SWAPPED


@pytest.mark.parametrize(
    ("read", "suggested"),
    [
        (149.49, 149.40),  # nine steps off, but 149.49 holds no zero
        (150.43, 150.36),  # 150.34 is two steps beside it
        (150.34, 150.45),
        (152.34, 154.32),  # these two are no neighbours
        (150.40, 150.31),
        (10.50, 1.50),  # no display shows 01.50
        (150.33, 150.42),
    ],
)
def test_a_miss_that_no_exchange_of_digits_makes(read: float, suggested: float) -> None:
    assert hint((read, 99.88), (suggested, 99.88)) is None


def test_digits_beyond_those_of_the_display_are_not_exchanged() -> None:
    # 12.0090 is not to be had from 12.0900 where the display shows 12.09.
    assert hint((12.09, 5.0), (12.009, 5.0), sigma_mm=0.003, decimals=2) is None
    assert hint((12.09, 5.0), (12.009, 5.0), sigma_mm=0.003, decimals=3) is Slip.DIGITS_SWAPPED


def test_digits_that_were_typed_beyond_those_of_the_display_count() -> None:
    assert hint((12.353, 5.0), (12.533, 5.0), sigma_mm=0.003) is Slip.DIGITS_SWAPPED


def test_a_suggestion_that_is_too_uncertain_gives_no_hint() -> None:
    # Two standard uncertainties would reach over 60 um, and the whole miss is 90.
    assert hint((150.43, 99.88), (150.37, 99.88), sigma_mm=0.03) is None


@pytest.mark.parametrize(
    ("read", "suggested", "slip"),
    [
        (12.34, -12.34, Slip.SIGN),
        (-0.5, 0.51, Slip.SIGN),
        (12.34, -12.37, None),
        (12.34, -12.43, None),
        (0.02, -0.035, None),  # so near zero, less must be left over
    ],
)
def test_a_wrong_sign(read: float, suggested: float, slip: Slip | None) -> None:
    assert hint((99.88, read), (99.88, suggested)) is slip


@pytest.mark.parametrize(
    ("read", "suggested", "slip"),
    [
        (15034.0, 150.34, Slip.POINT),
        (1503.4, 150.345, Slip.POINT),
        (15.034, 150.34, Slip.POINT),
        (-1234.0, -12.34, Slip.POINT),
        (15034.0, 150.30, None),
        (15034.0, 151.34, None),
        (1503.0, 150.34, None),  # a digit is missing as well
        (0.5, 0.005, None),  # such a number is not on the display
        (3.0, 0.02, None),  # so near zero any place of the point would do
    ],
)
def test_a_point_that_is_missing_or_misplaced(
    read: float, suggested: float, slip: Slip | None
) -> None:
    assert hint((read, 99.88), (suggested, 99.88)) is slip


@pytest.mark.parametrize(
    ("suggested", "slip"),
    [
        ((150.34, 99.88), Slip.EXCHANGED),
        ((150.325, 99.89), Slip.EXCHANGED),
        ((150.31, 99.88), None),
        ((150.34, 99.91), None),
        ((150.34, 150.34), None),
    ],
)
def test_x_and_y_exchanged(suggested: Place, slip: Slip | None) -> None:
    assert hint((99.88, 150.34), suggested) is slip


def test_a_jog_that_was_not_done() -> None:
    before = (150.34, 99.88)
    assert hint((151.44, 100.28), (150.33, 99.885), before=before) is Slip.NOT_DONE
    assert hint((151.44, 100.28), (150.33, 99.92), before=before) is None
    assert hint((151.44, 100.28), (150.33, 99.885)) is None


def test_what_differs_at_random_is_seldom_called_a_slip() -> None:
    rng = np.random.default_rng(25)
    called = []
    for _ in range(2000):
        right = np.round(rng.uniform(0.0, 300.0, 2), 2)
        off = float(rng.choice([-1.0, 1.0])) * round(float(rng.uniform(0.06, 1.0)), 2)
        says = right[0] + float(rng.normal(0.0, 0.008))
        called.append(hint((round(right[0] + off, 2), right[1]), (says, right[1])) is not None)
    # One or two corrections lie in reach of a wrong number, each 32 um of some 2 mm wide.
    assert np.mean(called) < 0.03


def refused(read: np.ndarray, real: np.ndarray, shown: np.ndarray) -> ScaleRefusal:
    """Learn from positions, where the bore really stood, and what the display showed."""
    jogs = [
        replace(jog, read_mm=PointMm(float(x), float(y)))
        for jog, (x, y) in zip(sightings(read, seen(real, matrix(), None)), shown, strict=True)
    ]
    result = learn_scale(jogs, position_cov_mm2=CovMm2(SIGMA_MM**2, 0.0, SIGMA_MM**2))
    assert isinstance(result, ScaleRefusal)
    return result


def test_nine_steps_of_the_display_off_are_no_exchange() -> None:
    real = np.array([149.40, 99.50]) + PENTAGON5 - PENTAGON5[3]
    read = real.copy()
    read[3, 0] = 149.49
    result = refused(read, real, read)
    assert result.message.startswith("the 4th position reads X 149.49; the picture says 149.40")
    assert "(" not in doubtful_sentence(result.doubtful)


def test_the_digits_are_those_of_the_display_not_of_the_carriage() -> None:
    # The display holds an offset of 1.27 mm: it showed 151.61, and 151.16 was typed.
    real = START_MM + np.vstack([[0.0, 0.0], PENTAGON5])
    offset = np.array([1.27, 0.0])
    shown = real + offset
    shown[0, 0] = 151.16
    result = refused(shown - offset, real, shown)
    assert result.doubtful[0].slip is Slip.DIGITS_SWAPPED
    assert result.message.startswith("the 1st position reads X 151.16; the picture says 151.61")
    as_carriage = refused(shown - offset, real, shown - offset)
    assert as_carriage.doubtful[0].slip is None
