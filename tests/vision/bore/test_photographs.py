"""Photographs that others took, against answers of libraries that others wrote."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pytest
import skimage.data
from numpy.typing import NDArray
from scipy import ndimage
from skimage.filters import sobel
from skimage.measure import CircleModel, EllipseModel, find_contours, ransac
from skimage.segmentation import watershed

from tests.benchmarks.bench_photographs import (
    ANY_OVAL,
    INSTALLED,
    NAMES,
    PATTERN,
    Sheet,
    add_tables,
    apart_px,
    dots_of,
    grid_residual_px,
    look,
    read_sheet,
    residuals_px,
)
from tests.benchmarks.finder.report import Report
from tests.vision.bore.pictures import as_bytes
from vision.bore import BoreFit, BoreRefusal, RadiusPrior, find_bore
from vision.geometry import CircleFit, EllipseFit, PointPx, fit_circle, fit_ellipse

Array = NDArray[np.float64]
Grey = NDArray[np.uint8]


def example(name: str) -> NDArray[np.uint8]:
    picture = cv2.imread(str(Path(skimage.data.__file__).parent / name), cv2.IMREAD_COLOR)
    assert picture is not None
    return np.asarray(picture, dtype=np.uint8)


# -- scikit-image's coins --------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Coin:
    """One coin: its outline (N, 2), and OpenCV's ellipse through that."""

    outline: Array
    centre_px: PointPx
    axes_px: tuple[float, float]

    @property
    def radius_px(self) -> float:
        return 0.25 * sum(self.axes_px)

    @property
    def roundness_ratio(self) -> float:
        return min(self.axes_px) / max(self.axes_px)


@pytest.fixture(scope="module")
def coin_picture() -> Grey:
    return np.ascontiguousarray(example("coins.png")[:, :, 0])


@pytest.fixture(scope="module")
def coins(coin_picture: Grey) -> list[Coin]:
    """Coins by watershed, as in scikit-image's gallery."""
    seeds = np.where(coin_picture < 30, 1, np.where(coin_picture > 150, 2, 0))
    apart = watershed(sobel(coin_picture), seeds)  # type: ignore[no-untyped-call]  # brings no types
    whole, count = ndimage.label(ndimage.binary_fill_holes(apart == 2))
    found = []
    for number in range(1, count + 1):
        mask = np.asarray(whole == number, dtype=np.uint8)
        if mask.sum() > 200:
            found.append(coin_of(mask))
    return found


def coin_of(mask: Grey) -> Coin:
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = np.asarray(max(contours, key=len), dtype=np.float32).reshape(-1, 2)
    (u, v), axes, _ = cv2.fitEllipse(outline)
    return Coin(
        outline=outline.astype(np.float64),
        centre_px=PointPx(float(u), float(v)),
        axes_px=(float(axes[0]), float(axes[1])),
    )


def away_px(one: PointPx, other: PointPx) -> float:
    return float(np.hypot(one.u - other.u, one.v - other.v))


def test_all_coins_are_there(coins: list[Coin]) -> None:
    # scikit-image's gallery (from memory): 24 coins.
    assert len(coins) == 24


def test_ellipses_through_coins_are_those_of_opencv(coins: list[Coin]) -> None:
    off = []
    for coin in coins:
        fit = fit_ellipse(coin.outline)
        assert isinstance(fit, EllipseFit)
        off.append(away_px(fit.centre_px, coin.centre_px))
        assert fit.semi_axes_px[0] == pytest.approx(0.5 * max(coin.axes_px), abs=0.2)
        assert fit.semi_axes_px[1] == pytest.approx(0.5 * min(coin.axes_px), abs=0.2)
    # Theirs is algebraic; the two part where a shadow makes a coin no ellipse.
    assert np.median(off) < 0.02
    assert max(off) < 0.1


def test_no_ellipse_of_scikit_image_is_nearer_to_a_coins_outline(coins: list[Coin]) -> None:
    for coin in coins[::4]:
        fit = fit_ellipse(coin.outline)
        theirs = EllipseModel.from_estimate(coin.outline)  # type: ignore[no-untyped-call]  # brings no types
        assert isinstance(fit, EllipseFit)
        # Distances to theirs by their own measure.
        far = np.asarray(theirs.residuals(coin.outline), dtype=np.float64)
        assert (fit.residuals_px**2).sum() <= (far**2).sum() * (1 + 1e-6)


def test_circles_through_coins_are_near_scikit_images_and_nearer_to_the_outline(
    coins: list[Coin],
) -> None:
    for coin in coins:
        fit = fit_circle(coin.outline)
        theirs = CircleModel.from_estimate(coin.outline)  # type: ignore[no-untyped-call]  # brings no types
        assert isinstance(fit, CircleFit)
        # Theirs is algebraic, and worn coins are no circles.
        assert away_px(fit.centre_px, PointPx(*map(float, theirs.center))) < 0.15
        assert fit.radius_px == pytest.approx(theirs.radius, abs=0.05)
        far = np.asarray(theirs.residuals(coin.outline), dtype=np.float64)
        assert (fit.residuals_px**2).sum() <= (far**2).sum() * (1 + 1e-9)


def test_no_coin_is_a_bore(coin_picture: Grey, coins: list[Coin]) -> None:
    assert isinstance(find_bore(coin_picture), BoreRefusal)
    for coin in coins[::6]:
        prior = RadiusPrior(radius_px=coin.radius_px)
        answer = find_bore(coin_picture, radius_prior=prior, near=coin.centre_px)
        assert isinstance(answer, BoreRefusal)


def test_the_negative_of_a_coin_has_its_centre_where_opencv_says(
    coin_picture: Grey, coins: list[Coin]
) -> None:
    """As a negative a coin is dark on bright, with a worn edge: nearly a bore."""
    off = []
    for coin in coins:
        part, left, top = cut(255 - coin_picture, coin.centre_px, 1.45 * coin.radius_px)
        fit = find_bore(part, radius_prior=RadiusPrior(radius_px=coin.radius_px))
        if isinstance(fit, BoreFit):
            centre = PointPx(fit.centre_px.u + left, fit.centre_px.v + top)
            off.append(away_px(centre, coin.centre_px))
    # Three coins have axes of a ratio under 0.89 and deep shadows: they need not pass for round.
    # The outline is one of whole pixels, and all coins have some shadow: half a pixel.
    assert sum(one < 0.6 for one in off) >= 20
    assert np.median(off) < 0.15


def cut(picture: Grey, centre: PointPx, reach: float) -> tuple[Grey, int, int]:
    left, top = max(int(centre.u - reach), 0), max(int(centre.v - reach), 0)
    return picture[top : int(centre.v + reach), left : int(centre.u + reach)], left, top


# -- the round field of scikit-image's retina ------------------------------------------------


@pytest.fixture(scope="module")
def field() -> NDArray[np.uint8]:
    """The negative of an eye's photograph: a dark round field, with a notch, on white."""
    retina = example("retina.jpg")
    small = cv2.resize(retina, None, fx=1 / 7, fy=1 / 7, interpolation=cv2.INTER_AREA)
    framed = cv2.copyMakeBorder(small, 20, 20, 20, 20, cv2.BORDER_CONSTANT, value=(0, 0, 0))
    return np.asarray(255 - framed, dtype=np.uint8)


def test_a_photographed_field_stop_is_found_in_spite_of_its_notch(
    field: NDArray[np.uint8],
) -> None:
    grey = np.asarray(cv2.cvtColor(field, cv2.COLOR_BGR2GRAY), dtype=np.float64)
    outline = max(find_contours(grey, 210.0), key=len)[:, ::-1]  # type: ignore[no-untyped-call]  # brings no types
    theirs, _ = ransac(  # type: ignore[no-untyped-call]  # brings no types
        outline, CircleModel, min_samples=3, residual_threshold=0.5, max_trials=100, rng=1
    )
    expected = PointPx(*map(float, theirs.center))
    plain, _, _ = cv2.fitEllipse(outline.astype(np.float32))
    # An ellipse through all of the outline is drawn aside by the notch.
    assert away_px(PointPx(*map(float, plain)), expected) > 0.2
    fit = find_bore(field)
    assert isinstance(fit, BoreFit)
    # Where the contour is taken 20 levels higher its centre moves by 0.01 px.
    assert away_px(fit.centre_px, expected) < 0.08
    assert fit.radius_px == pytest.approx(theirs.radius, abs=0.3)


# -- dots of a printed grid ------------------------------------------------------------------


def drawn_sheet(shrink: float) -> tuple[Sheet, Array]:
    """Return a drawn sheet, seen at a slant, and the true centres (36, 2)."""
    fine, radius = 8, 13.0
    rows, columns = np.divmod(np.arange(36), PATTERN[0])
    grid = np.column_stack([columns, rows]) - 2.5
    slant = np.array([[44.0, 3.0], [-2.0, 36.0]])
    centres = grid @ slant.T + [160.3, 120.7]
    turn = np.linspace(0.0, 2.0 * np.pi, 200, endpoint=False)
    outline = radius * np.column_stack([np.cos(turn), shrink * np.sin(turn)])
    canvas = np.full((240 * fine, 320 * fine), 210, np.uint8)
    for centre in centres:
        # Fine pixel i has its middle at (i + 0.5) / fine - 0.5, in sixteenths as OpenCV wants it.
        corners = np.rint(((centre + outline + 0.5) * fine - 0.5) * 16).astype(np.int32)
        cv2.fillPoly(canvas, [corners], (25,), lineType=cv2.LINE_8, shift=4)
    light = cv2.resize(canvas, (320, 240), interpolation=cv2.INTER_AREA).astype(np.float64)
    soft = np.asarray(cv2.GaussianBlur(light, (0, 0), 0.9), dtype=np.float64)
    picture = as_bytes(soft + np.random.default_rng(2).normal(0.0, 1.5, light.shape))
    return Sheet(name="drawn", picture=picture, dots=dots_of(picture)), centres


def test_a_grid_seen_through_a_bending_lens_leaves_nothing_over() -> None:
    rows, columns = np.divmod(np.arange(36), PATTERN[0])
    x, y = columns - 2.5, rows - 2.5
    depth = 1.0 + 0.02 * x - 0.03 * y
    off = np.column_stack([50 * x + 4 * y + 8, -3 * x + 45 * y - 6]) / depth[:, None]
    bent = off * (1.0 - 3e-7 * (off**2).sum(axis=1, keepdims=True)) + [319.5, 239.5]
    size, numbers = (640, 480), range(36)
    assert grid_residual_px(numbers, bent, size, radial=True) < 1e-6
    assert grid_residual_px(numbers, bent, size, radial=False) > 0.1
    noise = np.random.default_rng(1).normal(0.0, 0.1, bent.shape)
    # 9 of 72 numbers are fitted: sqrt(63 / 72) of the noise is left, known to a tenth.
    left = grid_residual_px(numbers, bent + noise, size, radial=True)
    assert left == pytest.approx(0.1 * np.sqrt(63 / 72), rel=0.25)


def test_dots_of_a_drawn_sheet_are_found_where_they_were_drawn(tmp_path: Path) -> None:
    whole, centres = drawn_sheet(shrink=0.93)
    assert len(whole.dots) == 36
    # Two rows tell enough.
    sheet = Sheet(name=whole.name, picture=whole.picture, dots=whole.dots[:12])
    seen = look(sheet)
    assert sorted(seen.fits) == list(range(12))
    # OpenCV may begin at any corner of the grid.
    for fit in seen.fits.values():
        nearest = np.hypot(*(centres - np.array(fit.centre_px)).T).min()
        assert nearest < 0.04
    assert max(residuals_px(sheet, seen, radial=False)) < 0.06
    report = Report("photographs", "Dots", seed=0, samples="one", folder=tmp_path)
    add_tables(report, [sheet])
    report.finish()
    page = (tmp_path / "photographs.md").read_text(encoding="utf-8")
    assert page.count("| drawn | 12 of 12 |") == 2


def test_a_dot_that_is_too_oval_counts_as_refused_unless_it_is_allowed() -> None:
    sheet, _ = drawn_sheet(shrink=0.8)
    few = Sheet(name=sheet.name, picture=sheet.picture, dots=sheet.dots[:4])
    assert look(few).refusals.total() == 4
    assert len(look(few, ANY_OVAL).fits) == 4


photographs = pytest.mark.skipif(
    not all((INSTALLED / name).is_file() for name in NAMES),
    reason="Debian's visp-images-data is not installed: no photographs of printed dots",
)


@photographs
def test_round_dots_of_a_photograph_are_all_taken() -> None:
    sheet = read_sheet(INSTALLED / NAMES[0])
    seen = look(sheet)
    assert len(seen.fits) == 36
    # Two good ways to find dots differ by 0.036 here; computed once with OpenCV 5.0.0.
    assert np.sqrt(np.mean(apart_px(sheet, seen) ** 2)) < 0.06


@photographs
@pytest.mark.parametrize(
    ("name", "plain_px", "bent_px"),
    # What `cv2.findCirclesGrid` leaves over of a homography, without and with a radial term;
    # computed once with OpenCV 5.0.0 by another program.
    list(zip(NAMES, (0.134, 0.230, 0.203, 0.212), (0.102, 0.226, 0.176, 0.207), strict=True)),
)
def test_a_grid_leaves_no_more_over_of_the_finders_centres_than_of_opencvs(
    name: str, plain_px: float, bent_px: float
) -> None:
    sheet = read_sheet(INSTALLED / name)
    seen = look(sheet, ANY_OVAL)
    assert len(seen.fits) == 36
    finder, opencv, _ = residuals_px(sheet, seen, radial=False)
    assert opencv == pytest.approx(plain_px, abs=0.003)
    assert finder <= 1.05 * opencv
    finder, opencv, _ = residuals_px(sheet, seen, radial=True)
    assert opencv == pytest.approx(bent_px, abs=0.003)
    assert finder <= 1.05 * opencv
    assert np.sqrt(np.mean(apart_px(sheet, seen) ** 2)) < 0.06
