"""An entry that disagrees with the picture is named, with what the picture says."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from tests.vision.pixel_scale.made_jogs import (
    CROSS5,
    GRID9,
    PENTAGON5,
    SQUARE4,
    START_MM,
    learn,
    matrix,
    seen,
)
from vision.geometry import PointMm
from vision.pixel_scale import (
    Axis,
    DoubtfulEntry,
    PixelScale,
    ScaleReason,
    ScaleRefusal,
    Slip,
    doubtful_sentence,
)


def _digits_of_x(read: np.ndarray, i: int) -> None:
    """150.34 is typed 150.43, and so on: the last two of two places change their places."""
    tenths = round(read[i, 0] * 10.0 - 0.5)
    hundredths = round(read[i, 0] * 100.0) - 10 * tenths
    read[i, 0] = (tenths - tenths % 10) / 10.0 + hundredths / 10.0 + (tenths % 10) / 100.0


def _sign_of_y(read: np.ndarray, i: int) -> None:
    read[i, 1] = -read[i, 1]


def _point_of_x(read: np.ndarray, i: int) -> None:
    read[i, 0] *= 100.0


def _exchange(read: np.ndarray, i: int) -> None:
    read[i] = read[i, ::-1].copy()


SLIPS = [
    (_digits_of_x, Axis.X, Slip.DIGITS_SWAPPED),
    (_sign_of_y, Axis.Y, Slip.SIGN),
    (_point_of_x, Axis.X, Slip.POINT),
    (_exchange, Axis.BOTH, Slip.EXCHANGED),
]


@pytest.mark.parametrize("layout", [PENTAGON5, GRID9], ids=["five", "nine"])
@pytest.mark.parametrize(("mistype", "axis", "slip"), SLIPS, ids=[s[2].value for s in SLIPS])
def test_each_slip_is_named_with_the_right_suggestion(
    layout: np.ndarray, mistype: Callable[[np.ndarray, int], None], axis: Axis, slip: Slip
) -> None:
    rng = np.random.default_rng(17)
    right, recognised, trials = 0, 0, 60
    for _ in range(trials):
        true = START_MM + layout
        read = true.copy()
        i = int(rng.integers(len(layout)))
        mistype(read, i)
        result = learn(read, seen(true, matrix(turn_deg=float(rng.uniform(-180, 180))), rng))
        named = [entry.index for entry in result.doubtful]
        if named != [i] or not isinstance(result, ScaleRefusal):
            continue
        entry = result.doubtful[0]
        close = np.max(np.abs(np.array(entry.suggested_mm) - true[i])) < 0.04
        right += bool(close) and entry.axis is axis and entry.read_mm == pytest.approx(read[i])
        recognised += entry.slip is slip
    assert right >= 0.95 * trials
    # The kind is a hint only: one in twenty lies outside the suggestion's uncertainty.
    assert recognised >= 0.85 * trials


def test_a_lost_jog_is_named_with_the_place_where_it_still_stood() -> None:
    rng = np.random.default_rng(18)
    right = 0
    for trial in range(60):
        read = START_MM + PENTAGON5
        real = read.copy()
        i = 1 + trial % 4
        real[i] = real[i - 1]
        result = learn(read, seen(real, matrix(), rng))
        if [entry.index for entry in result.doubtful] == [i]:
            entry = result.doubtful[0]
            close = np.max(np.abs(np.array(entry.suggested_mm) - real[i])) < 0.04
            right += bool(close) and entry.slip is Slip.NOT_DONE
    assert right >= 57


def test_opposite_arms_of_a_cross_are_both_named() -> None:
    # Their residuals are the same, whichever is wrong: no computation can tell.
    rng = np.random.default_rng(19)
    for _ in range(30):
        read = START_MM + CROSS5
        centres = seen(read, matrix(), rng)
        read[1, 0] += 0.15
        result = learn(read, centres)
        assert isinstance(result, ScaleRefusal)
        assert result.reason is ScaleReason.CONTRADICTORY
        assert sorted(entry.index for entry in result.doubtful) == [1, 2]
        assert "these jogs cannot tell" in result.message


def test_with_four_jogs_one_of_them_is_all_that_can_be_said() -> None:
    rng = np.random.default_rng(20)
    for _ in range(30):
        read = START_MM + SQUARE4
        centres = seen(read, matrix(), rng)
        read[2, 0] += 0.3
        result = learn(read, centres)
        assert isinstance(result, ScaleRefusal)
        indices = [entry.index for entry in result.doubtful]
        assert 2 in indices
        assert len(indices) > 1


def test_three_jogs_name_nobody() -> None:
    read = START_MM + PENTAGON5[:3]
    centres = seen(read, matrix(), None)
    read[1, 0] += 0.2
    assert learn(read, centres).doubtful == ()


def test_two_wrong_entries_are_refused_without_blaming_a_right_one() -> None:
    rng = np.random.default_rng(21)
    for _ in range(30):
        read = START_MM + GRID9
        centres = seen(read, matrix(), rng)
        read[0, 0] += 0.5
        read[5, 1] -= 0.7
        result = learn(read, centres)
        assert isinstance(result, ScaleRefusal)
        assert result.reason is ScaleReason.CONTRADICTORY
        assert result.doubtful == ()


def test_jogs_in_order_are_never_doubted() -> None:
    rng = np.random.default_rng(22)
    for _ in range(150):
        read = START_MM + PENTAGON5
        result = learn(read, seen(read, matrix(), rng))
        assert isinstance(result, PixelScale)
        assert result.doubtful == ()


def test_a_small_miss_is_named_but_does_not_stop_the_work() -> None:
    rng = np.random.default_rng(23)
    read = START_MM + np.vstack([GRID9, 0.5 * PENTAGON5])
    centres = seen(read, matrix(), rng, sigma_mm=0.001)
    read[4, 0] += 0.04
    result = learn(read, centres, sigma_mm=0.003)
    assert isinstance(result, PixelScale)
    assert [entry.index for entry in result.doubtful] == [4]
    assert result.doubtful[0].miss_um == pytest.approx(40.0, abs=6.0)
    assert result.widened


def test_the_answer_hangs_on_no_order() -> None:
    rng = np.random.default_rng(24)
    read = START_MM + GRID9
    centres = seen(read, matrix(), rng)
    read[3, 1] += 0.09
    one = learn(read, centres).doubtful[0]
    order = rng.permutation(9)
    other = learn(read[order], centres[order]).doubtful[0]
    assert order[other.index] == one.index == 3
    assert other.suggested_mm == pytest.approx(one.suggested_mm, abs=1e-9)


def _entry(
    index: int, axis: Axis, read: tuple[float, float], said: tuple[float, float], slip: Slip | None
) -> DoubtfulEntry:
    return DoubtfulEntry(
        index=index,
        axis=axis,
        read_mm=PointMm(*read),
        suggested_mm=PointMm(*said),
        sigma_um=8.0,
        others_agree_um=4.0,
        slip=slip,
    )


def test_the_sentence_says_what_was_read_and_what_the_picture_says() -> None:
    entry = _entry(3, Axis.X, (150.43, 99.88), (150.3391, 99.88), None)
    assert doubtful_sentence([entry]) == "the 4th position reads X 150.43; the picture says 150.34"
    shifted = doubtful_sentence([entry], decimals=1, in_display_mm=PointMm(-10.0, 5.0))
    assert shifted == "the 4th position reads X 140.4; the picture says 140.3"


def test_the_sentence_names_both_coordinates_the_slip_and_the_rivals() -> None:
    both = _entry(1, Axis.BOTH, (99.88, 150.34), (150.341, 99.876), Slip.EXCHANGED)
    rival = _entry(2, Axis.Y, (1.0, 2.0), (1.0, 3.0), None)
    assert doubtful_sentence([both, rival]) == (
        "the 2nd position reads X 99.88 Y 150.34; the picture says X 150.34 Y 99.88 "
        "(X and Y exchanged?); the 3rd could be wrong instead, these jogs cannot tell"
    )
    with pytest.raises(ValueError, match="doubtful"):
        doubtful_sentence([])
