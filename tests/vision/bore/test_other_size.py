"""A bore of another size than expected: refused, or found with a note where that is asked for."""

from __future__ import annotations

import pytest

from tests.vision.bore.pictures import Scene, several_holes, take
from vision.bore import BoreFit, BoreRefusal, RadiusPrior, Reason, find_bore

LOOSE = RadiusPrior(radius_px=17.0, strict=False)
SMALL = Scene(size=(320, 240), centre=(161.3, 118.7))


def test_a_bore_twice_as_wide_as_expected_is_refused() -> None:
    assert isinstance(find_bore(take(SMALL), radius_prior=RadiusPrior(radius_px=17.0)), BoreRefusal)


@pytest.mark.parametrize("expected_px", [17.0, 45.5, 70.0])
def test_where_a_nozzle_is_sure_it_is_found_with_both_sizes(expected_px: float) -> None:
    fit = find_bore(take(SMALL), radius_prior=RadiusPrior(radius_px=expected_px, strict=False))
    assert isinstance(fit, BoreFit)
    assert fit.centre_px == pytest.approx(SMALL.centre, abs=0.05)
    assert not fit.size_verified
    assert "34.0 px" in fit.size_note
    assert f"{expected_px:.1f} px is expected" in fit.size_note


def test_it_is_followed_from_frame_to_frame() -> None:
    first = find_bore(take(SMALL), radius_prior=LOOSE)
    assert isinstance(first, BoreFit)
    again = find_bore(take(SMALL), radius_prior=LOOSE, near=first)
    assert isinstance(again, BoreFit)
    assert again.size_note == first.size_note
    # Another tool is expected: now the size agrees.
    right = find_bore(take(SMALL), radius_prior=RadiusPrior(radius_px=34.0), near=first)
    assert isinstance(right, BoreFit)
    assert right.size_verified
    assert right.size_note == ""


def test_a_strict_prior_does_not_follow_it() -> None:
    first = find_bore(take(SMALL), radius_prior=LOOSE)
    assert isinstance(first, BoreFit)
    strict = RadiusPrior(radius_px=17.0)
    assert isinstance(find_bore(take(SMALL), radius_prior=strict, near=first), BoreRefusal)


def test_a_bore_of_the_expected_size_goes_first() -> None:
    frame = several_holes([(200, 200, 17), (450, 250, 40)])
    fit = find_bore(frame, radius_prior=LOOSE)
    assert isinstance(fit, BoreFit)
    assert fit.centre_px == pytest.approx((200, 200), abs=0.1)
    assert (fit.size_verified, fit.size_note) == (True, "")


def test_of_several_holes_of_another_size_none_is_taken() -> None:
    frame = several_holes([(200, 200, 34), (450, 250, 36)])
    assert isinstance(find_bore(frame, radius_prior=LOOSE), BoreRefusal)


def test_what_is_too_far_off_for_a_nozzle_is_refused() -> None:
    prior = RadiusPrior(radius_px=11.0, strict=False)
    assert isinstance(find_bore(take(SMALL), radius_prior=prior), BoreRefusal)


def test_a_bore_that_the_edge_cuts_still_says_where_it_lies() -> None:
    scene = Scene(size=(320, 240), centre=(312.0, 120.0))
    answer = find_bore(take(scene), radius_prior=RadiusPrior(radius_px=34.0, strict=False))
    assert isinstance(answer, BoreRefusal)
    assert answer.reason is Reason.PART_IN_VIEW
    assert answer.towards_px is not None
