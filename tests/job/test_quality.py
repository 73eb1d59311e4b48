"""Focus and light in words, held against pictures of the bench and rendered ones."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import permutations
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from app.bench import bench_profile
from app.bench.picture import Photographer
from app.bench.truth import Truth, draw_truth
from app.bench.world import Glimpse
from app.cameras.images import read_image
from app.job.quality import Grade, Level, exposure_drift, focus_level, light_level
from vision.bore import BoreFit, BoreRefusal, Reason, RimLevels, find_bore
from vision.coarse_focus import coarse_sharpness
from vision.exposure import Exposure, exposure_of
from vision.synthesis import Sensor

FRAMES = Path(__file__).parents[2] / "sample_frames" / "frames"
MIDDLE = (320.0, 240.0)
ASIDE = (470.0, 330.0)
BORES_MM = (0.4, 0.6, 0.25, 0.8, 0.4)
"""Bores by tool."""

Picture = NDArray[np.uint8] | NDArray[np.uint16]


@cache
def workshop(um_per_px: float = 5.5) -> Truth:
    """Return a truth with all usual bores, one of them with a drop of plastic."""
    plover = bench_profile("plover")
    tools = tuple(replace(t, bore_mm=b) for t, b in zip(plover.tools, BORES_MM, strict=True))
    return draw_truth(
        replace(plover, tools=tools),
        seed=14,
        size_px=(640, 480),
        um_per_px=um_per_px,
        flipped=False,
        drop_of_plastic=True,
    )


@cache
def picture(
    tool: int = 0,
    *,
    at: tuple[float, float] = MIDDLE,
    height_mm: float = 0.0,
    light: float = 1.0,
    um_per_px: float = 5.5,
) -> Picture:
    """Return what the bench shows of a tool that stands still."""
    centre = np.array(at)
    still = Glimpse(tool=tool, centre_px=centre, flat_centre_px=centre, height_mm=height_mm)
    camera = Photographer(workshop(um_per_px), sensor=Sensor(exposure=light))
    return camera.expose(still, still, number=tool)


@cache
def sample(name: str) -> Picture:
    return read_image(FRAMES / name)


def focus_of(frame: Picture, sharpest: float = 1.0) -> Level:
    return focus_level(find_bore(frame), coarse_sharpness(frame), sharpest)


def light_of(frame: Picture) -> Level:
    return light_level(exposure_of(frame), find_bore(frame))


def refusal(reason: Reason) -> BoreRefusal:
    return BoreRefusal(reason=reason, message="No.", remedy="Do.")


def test_without_a_picture_nothing_is_said() -> None:
    for level in (focus_level(None, 0.0, 0.0), light_level(None, None)):
        assert (level.grade, level.word, level.advice) == (Grade.UNKNOWN, "no picture", "")


@pytest.mark.parametrize("um_per_px", [5.5, 8.0])
@pytest.mark.parametrize("tool", range(5))
def test_every_tip_of_the_bench_in_focus_is_sharp(tool: int, um_per_px: float) -> None:
    level = focus_of(picture(tool, um_per_px=um_per_px))
    assert (level.grade, level.word, level.advice) == (Grade.GOOD, "sharp", "")


@pytest.mark.parametrize(
    "name", ["brass-025-far.jpg", "brass-040-clean.png", "brass-080-large.jpg"]
)
def test_rendered_tips_in_focus_are_sharp(name: str) -> None:
    assert focus_of(sample(name)).word == "sharp"


def test_the_words_and_the_column_go_down_with_the_height() -> None:
    levels = [focus_of(picture(height_mm=h)) for h in (0.0, 0.4, 0.7, 1.2)]
    assert [level.word for level in levels] == ["sharp", "fair", "soft", "out of focus"]
    fractions = [level.fraction for level in levels]
    assert fractions == sorted(fractions, reverse=True)
    assert 1.0 >= fractions[0] > 1.3 * fractions[1]


@pytest.mark.parametrize("height_mm", [0.7, 1.2])
def test_advice_names_the_knob(height_mm: float) -> None:
    advice = focus_of(picture(height_mm=height_mm)).advice
    assert "machine's Z" in advice
    assert "not the microscope's wheel" in advice


def test_a_blur_that_no_bore_is_found_in_is_out_of_focus() -> None:
    level = focus_of(sample("no-far-out-of-focus.jpg"))
    assert (level.grade, level.word) == (Grade.POOR, "out of focus")


@pytest.mark.parametrize(
    ("share", "word"), [(1.0, "sharp"), (0.75, "fair"), (0.5, "soft"), (0.3, "out of focus")]
)
def test_a_covered_bore_is_judged_by_the_sharpest_picture(share: float, word: str) -> None:
    level = focus_level(refusal(Reason.COVERED), share * 2e-4, 2e-4)
    assert level.word == word
    assert 0.0 <= level.fraction <= 1.0


@pytest.mark.parametrize("reason", [Reason.NO_ROUND_EDGE, Reason.TOO_DARK])
def test_where_no_tip_is_to_be_seen_its_focus_is_unknown(reason: Reason) -> None:
    level = focus_level(refusal(reason), 1e-5, 2e-4)
    assert (level.grade, level.word) == (Grade.UNKNOWN, "no rim")


@pytest.mark.parametrize("reason", list(Reason))
def test_no_sharpness_yet_divides_by_nothing(reason: Reason) -> None:
    level = focus_level(refusal(reason), 0.0, 0.0)
    assert level.fraction == 0.0


@pytest.mark.parametrize(
    ("light", "word"),
    [(1.0, "good"), (0.1, "dim"), (0.015, "too dark"), (3.0, "bright"), (5.0, "burnt out")],
)
def test_light_in_words(light: float, word: str) -> None:
    assert light_of(picture(light=light)).word == word


@pytest.mark.parametrize(
    ("name", "word"),
    [
        ("brass-040-clean.png", "good"),
        ("brass-040-strong-light.jpg", "good"),
        # Lamps mirrored in half of the land beside the rim.
        ("brass-040-glints.jpg", "bright"),
        ("steel-040-dark-land.jpg", "good"),
        ("brass-040-dark-noisy.jpg", "dim"),
        ("brass-040-one-sided.jpg", "bright"),
        ("no-light.jpg", "too dark"),
    ],
)
def test_light_of_rendered_tips(name: str, word: str) -> None:
    assert light_of(sample(name)).word == word


def with_levels(land: float, burnt_share: float) -> BoreFit:
    fit = find_bore(picture())
    assert isinstance(fit, BoreFit)
    return replace(fit, levels=RimLevels(dark=0.05, land=land, burnt_share=burnt_share))


@pytest.mark.parametrize(
    ("land", "burnt_share", "word"),
    [
        (0.1, 0.0, "too dark"),
        (0.25, 0.0, "dim"),
        (0.6, 0.0, "good"),
        (0.95, 0.2, "good"),
        (0.99, 0.4, "bright"),
        (1.0, 0.7, "burnt out"),
    ],
)
def test_where_a_rim_is_seen_the_land_beside_it_counts(
    land: float, burnt_share: float, word: str
) -> None:
    # A tip that fills a small part of the picture: the whole tells little of it.
    whole = Exposure(mean=0.1, bright=0.3, burnt_share=0.001)
    level = light_level(whole, with_levels(land, burnt_share))
    assert level.word == word
    assert level.fraction == pytest.approx({"burnt out": 1.0}.get(word, land))


def test_a_small_tip_that_is_lit_well_is_not_called_dim() -> None:
    frame = picture(2, light=0.5, um_per_px=8.0)
    assert exposure_of(frame).bright < 0.26
    assert light_of(frame).word == "good"


def test_the_finders_word_on_light_goes_first() -> None:
    fair = Exposure(mean=0.3, bright=0.6, burnt_share=0.0)
    assert light_level(fair, refusal(Reason.TOO_DARK)).word == "too dark"
    assert light_level(fair, refusal(Reason.BURNT_OUT)).word == "burnt out"


@pytest.mark.parametrize("um_per_px", [5.5, 8.0])
def test_another_tool_or_place_is_no_drift(um_per_px: float) -> None:
    frames = [picture(t, at=at, um_per_px=um_per_px) for t in range(5) for at in (MIDDLE, ASIDE)]
    assert any(tool == workshop(um_per_px).plastic_on for tool in range(5))
    assert all(isinstance(find_bore(frame), BoreFit) for frame in frames)
    for first, now in permutations(map(exposure_of, frames), 2):
        assert exposure_drift(first, now) is None


def test_another_height_is_no_drift() -> None:
    first = exposure_of(picture())
    assert exposure_drift(first, exposure_of(picture(height_mm=0.7))) is None


@pytest.mark.parametrize(
    ("light", "way"), [(2.0, "brighter"), (4.0, "brighter"), (0.5, "darker"), (0.2, "darker")]
)
@pytest.mark.parametrize("um_per_px", [5.5, 8.0])
def test_an_exposure_that_changes_is_named(light: float, way: str, um_per_px: float) -> None:
    first = exposure_of(picture(um_per_px=um_per_px))
    said = exposure_drift(first, exposure_of(picture(light=light, um_per_px=um_per_px)))
    assert said is not None
    assert way in said
    assert "automatic exposure" in said


@pytest.mark.parametrize("light", [0.8, 1.25])
def test_a_lamp_that_flickers_is_not(light: float) -> None:
    assert exposure_drift(exposure_of(picture()), exposure_of(picture(light=light))) is None


def test_a_land_that_was_white_already_still_shows_more_light() -> None:
    first = Exposure(mean=0.5, bright=0.99, burnt_share=0.0)
    now = Exposure(mean=0.7, bright=1.0, burnt_share=0.03)
    assert exposure_drift(first, now) is not None


def test_a_black_first_picture_tells_no_drift() -> None:
    black = Exposure(mean=0.0, bright=0.0, burnt_share=0.0)
    assert exposure_drift(black, Exposure(mean=0.3, bright=0.6, burnt_share=0.0)) is None
