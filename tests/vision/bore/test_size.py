"""Bores of known width, drawn by blurring a disc of light and encoding it as a camera does."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from vision.bore import (
    BoreFit,
    BoreSize,
    SeenRim,
    bore_size,
    find_bore,
    mean_rim,
    nozzle_finding,
    rim_of,
)
from vision.bore.size import BROKEN_EDGE_UM, gamma_edge

DARK, LAND = 0.07, 0.66
"""Levels as the camera shows them."""

FINE = 3
"""Pixels are drawn so many times as fine, and averaged in light, as a sensor does."""


def disc(
    radius: float, blur: float, gamma: float = 1.0, *, oval: float = 0.0, turn: float = 0.4
) -> NDArray[np.uint8]:
    """Return a dark disc in a bright land; `oval` is the difference of its axes over their mean."""
    side = int(2.4 * radius + 10.0 * blur + 16.0)
    v, u = (np.mgrid[: side * FINE, : side * FINE] + 0.5) / FINE - 0.5
    x, y = u - side / 2 - 0.3, v - side / 2 + 0.2
    along, across = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    off = (np.hypot(along / (1 + oval / 2), across / (1 - oval / 2)) - radius) * FINE
    light = cv2.GaussianBlur(np.clip(off + 0.5, 0.0, 1.0), (0, 0), blur * FINE)
    light = light.reshape(side, FINE, side, FINE).mean(axis=(1, 3))
    low, high = DARK**gamma, LAND**gamma
    shown = 255.0 * (low + (high - low) * light) ** (1.0 / gamma)
    noisy = shown + np.random.default_rng(3).normal(0.0, 1.0, shown.shape)
    return np.asarray(np.clip(np.rint(noisy), 0, 255), dtype=np.uint8)


@cache
def seen(radius: float, blur: float, gamma: float = 1.0, oval: float = 0.0) -> BoreFit:
    fit = find_bore(disc(radius, blur, gamma, oval=oval))
    assert isinstance(fit, BoreFit), fit
    return fit


def diameter_px(fit: BoreFit, gamma: float | None) -> float:
    """Return the diameter in px, without what is taken off for a broken edge: none is drawn."""
    return bore_size(fit, 1.0, 0.0, gamma).diameter_um + BROKEN_EDGE_UM


@pytest.mark.parametrize("blur", [1.0, 2.0, 4.0])
@pytest.mark.parametrize("gamma", [1.0, 2.2])
@pytest.mark.parametrize("radius", [30.0, 60.0])
def test_the_diameter_is_right_where_gamma_is_known(
    radius: float, gamma: float, blur: float
) -> None:
    fit = seen(radius, blur, gamma)
    # As seen, gamma takes up to 5.4 px off the diameter; a fiftieth of that is left.
    assert diameter_px(fit, gamma) == pytest.approx(2.0 * radius, abs=0.03 + 0.02 * blur)


def test_the_radius_as_seen_is_drawn_in_by_blur_and_gamma() -> None:
    assert seen(30.0, 4.0).radius_px == pytest.approx(30.0 - 4.0**2 / 60.0, abs=0.03)
    assert seen(60.0, 1.0, 2.2).radius_px == pytest.approx(60.0 - 0.67, abs=0.05)
    assert seen(60.0, 4.0, 2.2).radius_px == pytest.approx(60.0 - 2.7, abs=0.1)


@pytest.mark.parametrize("blur", [1.0, 2.0, 4.0])
def test_an_unknown_gamma_is_in_the_uncertainty(blur: float) -> None:
    for gamma in (1.0, 2.2):
        fit = seen(60.0, blur, gamma)
        # In um of a hundredth of a pixel the broken edge is next to nothing.
        size = bore_size(fit, 100.0, 0.0)
        off = abs(size.diameter_um + BROKEN_EDGE_UM - 12_000.0)
        assert off < size.expanded_um
        # The true gamma is at one end of a rectangle: that lies at 1.73 of its u.
        u_gamma = np.sqrt(size.u_um**2 - bore_size(fit, 100.0, 0.0, 1.0).u_um ** 2)
        assert off / u_gamma == pytest.approx(3**0.5, rel=0.1)


@pytest.mark.parametrize("oval", [0.0, 0.01, 0.03])
@pytest.mark.parametrize("gamma", [1.0, 2.2])
def test_out_of_roundness_is_the_difference_of_the_axes(oval: float, gamma: float) -> None:
    size = bore_size(seen(60.0, 1.5, gamma, oval), 5.0, 0.0, gamma)
    assert size.out_of_roundness_um == pytest.approx(oval * 600.0, abs=0.6)


def test_roundness_is_judged_in_um_where_pixels_are_stretched() -> None:
    # Seen 4 % longer along u, by pixels that are worth 4 % less there.
    stretched = SeenRim(semi_axes_px=(52.0, 50.0), angle_rad=0.0, blur_px=1.5, sigma_px=0.02)
    to_um = np.diag([5.0 * 50.0 / 52.0, 5.0])
    size = bore_size(stretched, to_um, 0.0)
    assert size.out_of_roundness_um == pytest.approx(0.0, abs=1e-9)
    assert bore_size(stretched, 5.0, 0.0).out_of_roundness_um == pytest.approx(20.0)
    # Turning and mirroring change nothing.
    turn = np.array([[0.6, -0.8], [-0.8, -0.6]])
    turned = bore_size(stretched, turn @ to_um, 0.0)
    assert turned.diameter_um == pytest.approx(size.diameter_um)
    assert turned.out_of_roundness_um == pytest.approx(0.0, abs=1e-9)


def test_the_scale_counts_in_the_uncertainty() -> None:
    fit = seen(30.0, 1.0)
    plain, loose = bore_size(fit, 6.0, 0.0), bore_size(fit, 6.0, 0.12)
    assert loose.diameter_um == plain.diameter_um
    expected = np.hypot(plain.u_um, 0.02 * plain.diameter_um)
    assert loose.u_um == pytest.approx(expected, rel=1e-3)
    assert plain.expanded_um == 2.0 * plain.u_um


def test_what_was_assumed_is_said() -> None:
    known = bore_size(seen(30.0, 1.0), 6.0, 0.0, 1.0)
    unknown = bore_size(seen(30.0, 1.0), 6.0, 0.0)
    unlit = bore_size(
        SeenRim(semi_axes_px=(30.0, 30.0), angle_rad=0.0, blur_px=1.2, sigma_px=0.02), 6.0, 0.0
    )
    assert [len(size.notes) for size in (known, unknown, unlit)] == [1, 2, 3]
    assert "gamma is not known" in unknown.notes[1]
    assert all(note.endswith(".") for note in unlit.notes)


@pytest.mark.parametrize(("dark", "land"), [(0.02, 0.3), (0.07, 0.66), (0.1, 0.95), (0.0, 1.0)])
def test_a_power_law_of_one_moves_nothing_and_others_move_steadily(
    dark: float, land: float
) -> None:
    assert gamma_edge(1.0, dark, land) == (0.0, 1.0)
    near_one, middle, most = (gamma_edge(g, dark, land) for g in (1.001, 1.6, 2.2))
    assert 0.0 > near_one[0] > -0.002
    assert 0.0 > middle[0] > most[0] > -0.8
    assert 1.0 < middle[1] < most[1] < 1.3


def test_frames_are_averaged_as_ellipses_not_as_axes() -> None:
    def turned(angle: float) -> SeenRim:
        return SeenRim(
            semi_axes_px=(30.5, 29.5),
            angle_rad=angle,
            blur_px=1.5,
            sigma_px=0.02,
            dark_level=0.1,
            land_level=0.7,
        )

    round_one = mean_rim([turned(0.3), turned(0.3 + np.pi / 2)])
    assert round_one.semi_axes_px == pytest.approx((30.0, 30.0))
    alike = mean_rim([turned(0.3)] * 5)
    assert alike.semi_axes_px == pytest.approx((30.5, 29.5))
    assert alike.angle_rad == pytest.approx(0.3)
    assert (alike.dark_level, alike.land_level) == pytest.approx((0.1, 0.7))
    with pytest.raises(ValueError, match="rims"):
        mean_rim([])


def test_levels_are_those_that_were_drawn() -> None:
    levels = seen(60.0, 2.0, 2.2).levels
    assert levels is not None
    assert (levels.dark, levels.land) == pytest.approx((DARK, LAND), abs=0.02)
    assert levels.burnt_share == 0.0
    kept = rim_of(seen(60.0, 2.0, 2.2))
    assert (kept.dark_level, kept.land_level) == (levels.dark, levels.land)


def test_a_burnt_land_is_told() -> None:
    brighter = np.clip(disc(40.0, 1.5).astype(np.int64) * 2, 0, 255).astype(np.uint8)
    fit = find_bore(brighter)
    assert isinstance(fit, BoreFit)
    assert fit.levels is not None
    assert fit.levels.burnt_share > 0.8


@pytest.mark.parametrize(
    ("diameter_um", "u_um", "nominal_mm", "words"),
    [
        (470.0, 12.0, 0.4, "0.47 mm, 0.40 mm is expected: a worn or another nozzle."),
        (795.0, 14.0, 0.4, "0.80 mm, 0.40 mm is expected: a worn or another nozzle."),
        (396.0, 12.0, 0.6, "0.40 mm, 0.60 mm is expected: another nozzle, or one with plastic"),
        (429.0, 12.0, 0.4, None),
        (470.0, 36.0, 0.4, None),
        (838.0, 12.0, 0.8, None),
    ],
)
def test_a_worn_or_another_nozzle_is_told_by_both_figures(
    diameter_um: float, u_um: float, nominal_mm: float, words: str | None
) -> None:
    size = BoreSize(diameter_um=diameter_um, u_um=u_um, out_of_roundness_um=3.0)
    said = nozzle_finding(size, nominal_mm)
    assert said is None if words is None else words in str(said)


@pytest.mark.parametrize(
    ("options", "name"),
    [
        ({"um_per_px": 0.0}, "um_per_px"),
        ({"um_per_px": float("nan")}, "um_per_px"),
        ({"um_per_px": np.ones((2, 2))}, "um_per_px"),
        ({"um_per_px": np.ones(3)}, "um_per_px"),
        ({"u_um_per_px": -1.0}, "u_um_per_px"),
        ({"gamma": 0.0}, "gamma"),
    ],
)
def test_figures_out_of_bounds_are_the_callers_mistake(
    options: dict[str, object], name: str
) -> None:
    usual: dict[str, object] = {"um_per_px": 5.0, "u_um_per_px": 0.0}
    with pytest.raises(ValueError, match=name):
        bore_size(seen(30.0, 1.0), **(usual | options))  # type: ignore[arg-type]  # the mistake
    size = BoreSize(diameter_um=400.0, u_um=1.0, out_of_roundness_um=0.0)
    with pytest.raises(ValueError, match="nominal_mm"):
        nozzle_finding(size, 0.0)
