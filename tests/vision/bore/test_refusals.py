from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
import skimage.data

from tests.vision.bore.pictures import Scene, as_bytes, hexagon, several_holes, take
from vision.bore import BoreFit, BoreRefusal, RadiusPrior, Reason, find_bore


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
    ],
)
def test_what_is_no_picture_is_refused_in_words(frame: object) -> None:
    assert refused(frame).reason is Reason.NOT_A_PICTURE


def test_one_bad_pixel_is_enough() -> None:
    frame = take(Scene()).astype(np.float32)
    frame[3, 5] = np.nan
    assert refused(frame).reason is Reason.NOT_A_PICTURE


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


def test_a_prior_that_contradicts_the_picture_names_both_sizes() -> None:
    answer = refused(take(Scene()), radius_prior=RadiusPrior(radius_px=70.0))
    assert answer.reason is Reason.NO_ROUND_EDGE
    assert "34." in answer.message
    assert "70." in answer.message


def test_a_bright_land_without_a_bore_is_covered() -> None:
    # Plastic as bright as the land, bulging over the bore.
    scene = Scene(dark=160.0, texture=0.03)
    assert refused(take(scene), radius_prior=RadiusPrior(radius_px=34.0)).reason is Reason.COVERED


def test_a_prior_out_of_bounds_is_the_callers_mistake() -> None:
    frame = take(Scene())
    for radius in (0.0, -3.0, float("nan")):
        with pytest.raises(ValueError, match="radius_prior"):
            find_bore(frame, radius_prior=RadiusPrior(radius_px=radius))
