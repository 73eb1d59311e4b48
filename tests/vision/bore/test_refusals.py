from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
import skimage.data

from tests.vision.bore.pictures import Scene, as_bytes, hexagon, several_holes, take
from vision.bore import BoreFit, BoreRefusal, RadiusPrior, Reason, find_bore
from vision.geometry import PointPx

SMALL = Scene(size=(240, 200), centre=(118.3, 97.8), radius=22.0, land_radius=55.0)


def refused(frame: object, **options: object) -> BoreRefusal:
    answer = find_bore(frame, **options)  # type: ignore[arg-type]  # handed on as they are
    assert isinstance(answer, BoreRefusal), answer
    # Two sentences that a person at a printer can act on.
    for sentence in (answer.message, answer.remedy):
        assert sentence.endswith(".")
        assert len(sentence) > 20
    return answer


def example(name: str) -> np.ndarray:
    picture = cv2.imread(str(Path(skimage.data.__file__).parent / name), cv2.IMREAD_COLOR)
    assert picture is not None
    return picture


@pytest.mark.parametrize(
    "frame",
    [
        None,
        "picture",
        [[1, 2], [3, 4]],
        np.zeros((0, 0), np.uint8),
        np.zeros((1, 1), np.uint8),
        np.zeros((480, 0), np.uint8),
        np.zeros((480, 640, 2), np.uint8),
        np.zeros((480, 640, 4), np.uint8),
        np.zeros((2, 480, 640, 3), np.uint8),
        np.zeros(480, np.uint8),
        np.zeros((480, 640), np.int32),
        np.zeros((480, 640), np.complex128),
        np.zeros((480, 640), bool),
        np.full((480, 640), np.nan),
        np.full((480, 640), -1.0),
        np.full((480, 640), np.inf),
        b"picture",
        np.array(7, np.uint8),
        np.zeros((0, 0, 3), np.uint8),
        np.zeros((1, 1, 3), np.uint8),
        np.zeros((1, 640), np.uint8),
        np.zeros((15, 640), np.uint8),
        np.zeros((480, 15, 3), np.uint16),
        np.zeros((480, 640, 0), np.uint8),
        np.zeros((48, 64), np.int8),
        np.zeros((48, 64), np.uint64),
        np.zeros((48, 64), "datetime64[s]"),
        np.zeros((48, 64), [("grey", "u1")]),
        np.full((48, 64), None),
        np.full((48, 64), "grey"),
        np.full((48, 64), 1e6),
        np.full((48, 64), -np.inf, np.float32),
        np.zeros((0, 0), np.float32),
    ],
)
def test_what_is_no_picture_is_refused_in_words(frame: object) -> None:
    assert refused(frame).reason is Reason.NOT_A_PICTURE


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("near", [None, PointPx(118.0, 98.0)])
def test_one_bad_pixel_is_enough(bad: float, near: PointPx | None) -> None:
    frame = take(SMALL).astype(np.float32)
    frame[3, 5] = bad
    assert refused(frame, near=near).reason is Reason.NOT_A_PICTURE
    colour = np.repeat(take(SMALL)[:, :, None], 3, axis=2).astype(np.float64)
    colour[150, 7, 1] = bad
    assert refused(colour, near=near).reason is Reason.NOT_A_PICTURE


def test_a_refusal_says_what_is_wrong_with_what_was_handed_over() -> None:
    assert "1 x 1 pixels" in refused(np.zeros((1, 1), np.uint8)).message
    assert "640 x 15 pixels" in refused(np.zeros((15, 640), np.uint8)).message
    assert "int32" in refused(np.zeros((48, 64), np.int32)).message
    assert "(48, 64, 4)" in refused(np.zeros((48, 64, 4), np.uint8)).message
    assert "str" in refused("picture").message
    assert "-1 to" in refused(np.linspace(-1.0, 1.0, 3072).reshape(48, 64)).message


def test_the_smallest_picture_is_looked_at() -> None:
    assert refused(np.full((16, 16), 128, np.uint8)).reason is Reason.NO_ROUND_EDGE


@pytest.mark.parametrize("level", [60, 128, 200])
def test_a_blank_picture_has_no_round_edge(level: int) -> None:
    assert refused(np.full((480, 640), level, np.uint8)).reason is Reason.NO_ROUND_EDGE


@pytest.mark.parametrize("sd", [3.0, 12.0, 40.0])
def test_noise_has_no_round_edge(sd: float) -> None:
    for seed in range(3):
        noise = np.random.default_rng(seed).normal(128, sd, (480, 640))
        assert refused(as_bytes(noise)).reason is Reason.NO_ROUND_EDGE


@pytest.mark.parametrize(
    "name",
    [
        "astronaut.png",
        "brick.png",
        "camera.png",
        "chelsea.png",
        "clock_motion.png",
        "coffee.png",
        "grass.png",
        "gravel.png",
        "page.png",
        "rocket.jpg",
        "text.png",
    ],
)
def test_pictures_of_other_things_are_refused(name: str) -> None:
    # scikit-image's own example pictures.
    refused(example(name))


@pytest.mark.parametrize("apothem", [25.0, 40.0, 60.0])
def test_a_hexagon_socket_is_no_bore(apothem: float) -> None:
    refused(hexagon(apothem))
    refused(hexagon(apothem), radius_prior=RadiusPrior(radius_px=apothem * 1.05))


def test_a_picture_without_light_is_too_dark() -> None:
    dark = take(Scene(dark=1, land=4, around=2, noise=1.0))
    assert refused(dark).reason is Reason.TOO_DARK
    assert refused(np.zeros((480, 640), np.uint8)).reason is Reason.TOO_DARK


def test_a_picture_with_too_much_light_is_burnt_out() -> None:
    burnt = take(Scene(dark=262, land=420, around=300))
    assert refused(burnt).reason is Reason.BURNT_OUT


@pytest.mark.parametrize("blur", [16.0, 40.0])
def test_a_picture_far_out_of_focus_says_so(blur: float) -> None:
    assert refused(take(Scene(blur=blur))).reason is Reason.OUT_OF_FOCUS


@pytest.mark.parametrize(
    "centre", [(630.0, 240.0), (8.0, 200.0), (320.0, 4.0), (-5.0, -8.0), (300.0, 470.0)]
)
def test_a_bore_cut_by_the_edge_points_to_its_centre(centre: tuple[float, float]) -> None:
    answer = refused(take(Scene(centre=centre)))
    assert answer.reason is Reason.PART_IN_VIEW
    assert answer.towards_px is not None
    # Enough to jog by: a tenth of the radius.
    assert np.hypot(answer.towards_px.u - centre[0], answer.towards_px.v - centre[1]) < 3.5


def test_two_like_holes_are_too_many() -> None:
    assert refused(several_holes([(200, 200, 34), (450, 250, 36)])).reason is Reason.SEVERAL


def test_a_prior_tells_the_bore_from_another_hole() -> None:
    frame = several_holes([(200, 200, 34), (450, 250, 52)])
    fit = find_bore(frame, radius_prior=RadiusPrior(radius_px=34.0))
    assert isinstance(fit, BoreFit)
    assert fit.centre_px == pytest.approx((200, 200), abs=0.05)


UM_PER_PX = 8.5


def radius_px(bore_mm: float) -> float:
    return bore_mm * 1000.0 / 2.0 / UM_PER_PX


def seen_as(seen_mm: float, nominal_mm: float, *, near: bool) -> BoreRefusal:
    """Return what is said of a bore that is not of its nominal size."""
    radius = radius_px(seen_mm)
    scene = Scene(
        size=(320, 240), centre=(160.3, 118.8), radius=radius, land_radius=min(2.2 * radius, 112.0)
    )
    return refused(
        take(scene),
        radius_prior=RadiusPrior(radius_px=radius_px(nominal_mm)),
        near=PointPx(160.0, 119.0) if near else None,
    )


def assert_names_both(answer: BoreRefusal, seen_mm: float, nominal_mm: float) -> None:
    assert answer.reason is Reason.NO_ROUND_EDGE
    seen, wanted = re.findall(r"([\d.]+) px", answer.message)
    assert float(seen) == pytest.approx(radius_px(seen_mm), abs=0.2)
    assert float(wanted) == pytest.approx(radius_px(nominal_mm), abs=0.06)


@pytest.mark.parametrize("near", [False, True])
@pytest.mark.parametrize(
    ("seen_mm", "nominal_mm"),
    [(0.3, 0.4), (0.4, 0.3), (0.4, 0.6), (0.6, 0.4), (0.4, 0.8), (0.5, 1.0), (0.8, 0.6)],
)
def test_a_prior_that_contradicts_the_picture_names_both_sizes(
    seen_mm: float, nominal_mm: float, near: bool
) -> None:
    assert_names_both(seen_as(seen_mm, nominal_mm, near=near), seen_mm, nominal_mm)


@pytest.mark.parametrize(("seen_mm", "nominal_mm"), [(0.8, 0.4), (0.4, 0.2), (0.4, 1.0)])
def test_a_prior_that_is_far_off_names_both_sizes_too(seen_mm: float, nominal_mm: float) -> None:
    assert_names_both(seen_as(seen_mm, nominal_mm, near=False), seen_mm, nominal_mm)


@pytest.mark.parametrize(("seen_mm", "nominal_mm"), [(0.8, 0.4), (0.8, 0.2), (0.3, 1.0)])
def test_a_bore_that_is_far_from_its_size_is_refused(seen_mm: float, nominal_mm: float) -> None:
    for near in (False, True):
        seen_as(seen_mm, nominal_mm, near=near)


def test_a_bright_land_without_a_bore_is_covered() -> None:
    # Plastic as bright as the land, bulging over the bore.
    scene = Scene(dark=160.0, texture=0.03)
    assert refused(take(scene), radius_prior=RadiusPrior(radius_px=34.0)).reason is Reason.COVERED


@pytest.mark.parametrize("radius", [0.0, -3.0, float("nan"), float("inf"), -float("inf")])
def test_a_prior_out_of_bounds_is_the_callers_mistake(radius: float) -> None:
    with pytest.raises(ValueError, match="radius_prior must be positive and finite"):
        find_bore(take(SMALL), radius_prior=RadiusPrior(radius_px=radius))


@pytest.mark.parametrize("tolerance", [0.0, -0.2, float("nan")])
def test_a_tolerance_that_is_none_is_the_callers_mistake(tolerance: float) -> None:
    prior = RadiusPrior(radius_px=22.0, relative_tolerance=tolerance)
    with pytest.raises(ValueError, match="radius_prior must be positive and finite"):
        find_bore(take(SMALL), radius_prior=prior)


def test_a_tolerance_without_bounds_is_the_callers_mistake() -> None:
    prior = RadiusPrior(radius_px=22.0, relative_tolerance=float("inf"))
    with pytest.raises(ValueError, match="radius_prior"):
        find_bore(take(SMALL), radius_prior=prior)


@pytest.mark.parametrize(
    "place", [(float("nan"), 98.0), (118.0, float("inf")), (-float("inf"), float("nan"))]
)
def test_a_place_that_is_none_is_the_callers_mistake(place: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="near must be finite"):
        find_bore(take(SMALL), near=PointPx(*place))


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
@pytest.mark.parametrize("part", ["centre", "radius"])
def test_a_last_fit_without_finite_numbers_is_the_callers_mistake(bad: float, part: str) -> None:
    last = find_bore(take(SMALL))
    assert isinstance(last, BoreFit)
    if part == "centre":
        broken = replace(last, centre_px=PointPx(bad, 98.0))
    else:
        broken = replace(last, radius_px=bad)
    with pytest.raises(ValueError, match="near must be finite"):
        find_bore(take(SMALL), near=broken)
