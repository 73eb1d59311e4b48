"""The bound that the finder's scatter is held against is itself right."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from tests.benchmarks.finder.bound import centre_bound_px, closed_form_px, derivatives
from tests.benchmarks.finder.discs import (
    Crescent,
    Disc,
    Slope,
    draw,
    draw_crescent,
    draw_sloped,
    expose,
    frame_side,
    from_centre,
    middle_of,
)

Array = NDArray[np.float64]

# Radius, blur, noise at a contrast of 155, and the bound in px that an earlier study of the
# same pictures gave, to four decimals; it was made with a program of its own.
STUDY = [
    (12, 1.2, 2, 0.0045),
    (12, 2, 5, 0.0142),
    (40, 1.2, 2, 0.0024),
    (40, 2, 5, 0.0077),
    (40, 4, 5, 0.0109),
    (120, 1.5, 3, 0.0023),
    (120, 4, 8, 0.0100),
]


def disc_of(radius: float, blur: float, shift: tuple[float, float] = (0.3, -0.2)) -> Disc:
    centre = middle_of(frame_side(radius), shift)
    return Disc(centre_px=centre, radius_px=radius, blur_px=blur)


@pytest.mark.parametrize(("radius", "blur", "noise", "expected_px"), STUDY)
def test_the_bound_is_that_of_an_independent_study(
    radius: float, blur: float, noise: float, expected_px: float
) -> None:
    bound = centre_bound_px(frame_side(radius), disc_of(radius, blur), noise)
    assert bound == pytest.approx(expected_px, rel=0.06)


@pytest.mark.parametrize(("radius", "blur", "noise", "_expected_px"), STUDY)
def test_the_bound_is_the_closed_form_of_a_thin_rim(
    radius: float, blur: float, noise: float, _expected_px: float
) -> None:
    disc = disc_of(radius, blur)
    bound = centre_bound_px(frame_side(radius), disc, noise)
    assert bound == pytest.approx(closed_form_px(disc, noise), rel=0.03)


def test_each_derivative_is_that_of_the_picture() -> None:
    disc, side, step = disc_of(12, 1.5), frame_side(12), 1e-4
    u, v = disc.centre_px
    moved = [
        (replace(disc, centre_px=(u + h, v)) for h in (step, -step)),
        (replace(disc, centre_px=(u, v + h)) for h in (step, -step)),
        (replace(disc, radius_px=disc.radius_px + h) for h in (step, -step)),
        (replace(disc, blur_px=disc.blur_px + h) for h in (step, -step)),
        (replace(disc, dark=disc.dark + h) for h in (step, -step)),
        (replace(disc, bright=disc.bright + h) for h in (step, -step)),
    ]
    for (above, below), slope in zip(moved, derivatives(side, disc), strict=True):
        numeric = (draw(side, above) - draw(side, below)) / (2 * step)
        np.testing.assert_allclose(slope, numeric, atol=1e-4)


def test_the_best_estimate_of_a_known_disc_scatters_as_the_bound_says() -> None:
    """One step of least squares from the truth is efficient, so it reaches the bound."""
    disc, side, noise = disc_of(12, 1.5), frame_side(12), 5.0
    slopes = np.stack([slope.ravel() for slope in derivatives(side, disc)], axis=1)
    solve, exact = np.linalg.pinv(slopes), draw(side, disc)
    rng = np.random.default_rng(5)
    errors = np.array(
        [(solve @ (expose(exact, noise, rng) - exact).ravel())[:2] for _ in range(400)]
    )
    # 800 errors know their RMS within 2.5 %; four times that.
    assert np.sqrt((errors**2).mean()) == pytest.approx(centre_bound_px(side, disc, noise), rel=0.1)


def test_a_crescent_as_bright_as_the_bore_is_a_plain_disc() -> None:
    disc, side = disc_of(25, 1.5), frame_side(25)
    none = draw_crescent(side, disc, Crescent(thickness_px=6.0, level=disc.dark, towards_rad=0.4))
    # The erf edge leaves out the rim's curvature: s^2 / (2 R) = 0.05 px of radius, at a
    # steepest flank of 40 levels a px.
    assert np.abs(none - draw(side, disc)).max() < 2.5
    x, y = np.arange(side) - disc.centre_px[0], np.arange(side) - disc.centre_px[1]
    hollow = disc.bright - none
    assert abs((hollow.sum(axis=0) @ x) / hollow.sum()) < 1e-3
    assert abs((hollow.sum(axis=1) @ y) / hollow.sum()) < 1e-3


@pytest.mark.parametrize(("behind_lens", "expected_px"), [(False, 0.0), (True, 0.051)])
def test_a_slope_of_light_is_blurred_with_the_land_unless_it_is_the_lens(
    behind_lens: bool, expected_px: float
) -> None:
    """Held against the same light on fine pixels, blurred by plain convolution.

    Light that falls off behind the lens lacks what the blur adds, which looks like a shift
    towards the light of slope per px times s^2: 0.3 / 24 * (4 + 1/12) = 0.051 px.
    """
    disc, side = disc_of(12, 2.0, (0.0, 0.0)), frame_side(12)
    slope = Slope(per_diameter=0.3, towards_rad=0.0, behind_lens=behind_lens)
    lit = _on_fine_pixels(side, disc, slope.per_diameter / 24)
    drawn = draw_sloped(side, disc, slope, gamma=1.0)
    scale = lit[side // 2, side // 2] / drawn[side // 2, side // 2]
    # In parts of the local light the rim's curvature, which the erf edge leaves out, is even
    # all round; what is odd is a shift.
    x, _, rho = from_centre(side, disc)
    light = 1 + slope.per_diameter / 24 * x
    along_u = derivatives(side, disc)[0] * (rho < 2 * disc.radius_px)
    shift_px = (along_u * (scale * drawn - lit) / light).sum() / (along_u**2).sum()
    assert shift_px == pytest.approx(expected_px, abs=0.003)


def _on_fine_pixels(side: int, disc: Disc, per_px: float) -> Array:
    fine = 9
    at = (np.arange(side * fine) - (fine - 1) / 2) / fine
    x, y = at[None, :] - disc.centre_px[0], at[:, None] - disc.centre_px[1]
    land = np.where(np.hypot(x, y) > disc.radius_px, disc.bright, disc.dark)
    lit = gaussian_filter(land * (1 + per_px * x), disc.blur_px * fine)
    return np.asarray(lit.reshape(side, fine, side, fine).mean(axis=(1, 3)), dtype=np.float64)
