"""What the bore finder makes of real photographs: four of a flat sheet with 6 x 6 printed dots.

Nobody knows where the dots are, but they stand in a grid and the sheet was seen by one lens.
So a homography and one radial term are fitted to the centres of each photograph, and what is
left over is set against what centres from plain OpenCV calls leave. The photographs are read,
never copied: `grid36-01.pgm` to `grid36-04.pgm` of the Debian package visp-images-data. Not
collected by pytest.

    python -m tests.benchmarks.bench_photographs --folder FOLDER
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from tests.benchmarks.finder.goals import Grade, verdict
from tests.benchmarks.finder.report import Report, keep_to_one_thread
from vision.bore import BoreFit, BoreRefusal, FinderSettings, RadiusPrior, find_bore
from vision.geometry import PointPx

Array = NDArray[np.float64]

INSTALLED = Path("/usr/share/visp-images-data/ViSP-images/calibration")
"""Where the Debian package puts them."""
NAMES = tuple(f"grid36-0{number}.pgm" for number in range(1, 5))
PATTERN = (6, 6)

APART_GOAL_PX, RESIDUAL_GOAL = 0.06, 1.05
FEWEST = 12
"""Dots from which what a grid leaves over says something: 9 of 24 numbers are fitted."""

ANY_OVAL = FinderSettings(lowest_roundness=0.6)
"""For one table only: dots that are seen obliquely are taken too."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dot:
    """One dot as plain OpenCV calls see it.

    Attributes
    ----------
    centre_px
        From `cv2.findCirclesGrid`.
    centroid_px
        Centroid of its contour at Otsu's threshold.
    radius_px
        Of a circle with the contour's area.
    """

    centre_px: PointPx
    centroid_px: PointPx
    radius_px: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One photograph and its dots, row by row."""

    name: str
    picture: NDArray[np.uint8]
    dots: tuple[Dot, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What the finder answers where the dots of a sheet are.

    Attributes
    ----------
    fits
        Index of the dot, and its fit.
    elsewhere
        How often another dot was answered: `near` says where to look first, not only.
    refusals
        What the others were refused for.
    """

    fits: dict[int, BoreFit]
    elsewhere: int
    refusals: Counter[str]


def main() -> None:
    """Make the tables and the page docs/grades/photographs.md."""
    folder = _arguments()
    keep_to_one_thread()
    sheets = [read_sheet(folder / name) for name in NAMES]
    report = Report(
        "photographs",
        "Real photographs: dots of a printed grid",
        seed=0,
        samples="nothing drawn by chance; four photographs of 36 dots from the Debian package "
        "visp-images-data (GPL-2; read, not kept)",
    )
    add_tables(report, sheets)
    report.finish()


def add_tables(report: Report, sheets: Sequence[Sheet]) -> None:
    """Add what the finder answers, as it stands and with oval dots allowed."""
    _as_it_stands(report, sheets)
    _with_ovals(report, sheets)


# -- the photographs -------------------------------------------------------------------------


def read_sheet(path: Path) -> Sheet:
    """Read a photograph and find its dots by plain OpenCV calls.

    Raises
    ------
    ValueError
        If it cannot be read, or shows no such grid.
    """
    picture = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    if picture is None:
        raise ValueError(f"{path} cannot be read as a picture")
    grey = np.asarray(picture, dtype=np.uint8)
    return Sheet(name=path.name, picture=grey, dots=dots_of(grey))


def dots_of(grey: NDArray[np.uint8]) -> tuple[Dot, ...]:
    """Return the dots of a picture, row by row.

    Raises
    ------
    ValueError
        If no grid is seen, or a dot has no contour of its own.
    """
    seen, found = cv2.findCirclesGrid(grey, PATTERN, flags=cv2.CALIB_CB_SYMMETRIC_GRID)
    if not seen or found is None:
        raise ValueError(f"grey must show a grid of {PATTERN[0]} x {PATTERN[1]} dots")
    _, dark = cv2.threshold(grey, 0, 255, cv2.THRESH_BINARY_INV | cv2.THRESH_OTSU)
    contours, _ = cv2.findContours(dark, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    centres = np.asarray(found, dtype=np.float64).reshape(-1, 2)
    return tuple(_dot(PointPx(float(u), float(v)), contours) for u, v in centres)


def _dot(centre: PointPx, contours: Sequence[NDArray[np.generic]]) -> Dot:
    outlines = [np.asarray(contour, dtype=np.float32) for contour in contours]
    around = [one for one in outlines if cv2.pointPolygonTest(one, centre, False) > 0]
    if not around:
        raise ValueError(f"a dot must be darker than the sheet, at {centre} it is not")
    moments = cv2.moments(min(around, key=cv2.contourArea))
    area = moments["m00"]
    return Dot(
        centre_px=centre,
        centroid_px=PointPx(moments["m10"] / area, moments["m01"] / area),
        # The contour runs through the middle of the outermost pixels.
        radius_px=float(np.sqrt(area / np.pi)) + 0.5,
    )


def look(sheet: Sheet, settings: FinderSettings | None = None) -> Look:
    """Ask the finder for each dot: near its place, with its radius."""
    fits: dict[int, BoreFit] = {}
    refusals: Counter[str] = Counter()
    elsewhere = 0
    for number, dot in enumerate(sheet.dots):
        answer = find_bore(
            sheet.picture,
            radius_prior=RadiusPrior(radius_px=dot.radius_px),
            near=dot.centre_px,
            settings=settings or FinderSettings(),
        )
        if isinstance(answer, BoreRefusal):
            refusals[answer.reason.value] += 1
        elif np.hypot(*_between(answer.centre_px, dot.centre_px)) > 0.5 * dot.radius_px:
            elsewhere += 1
        else:
            fits[number] = answer
    return Look(fits=fits, elsewhere=elsewhere, refusals=refusals)


# -- the grid --------------------------------------------------------------------------------


def grid_residual_px(
    numbers: Sequence[int], centres: Array, size_px: tuple[int, int], *, radial: bool
) -> float:
    """Return the RMS per coordinate that a grid leaves over of centres.

    Parameters
    ----------
    numbers
        Places (N,) in the grid, counted row by row.
    centres
        Shape (N, 2), in pixels.
    size_px
        Width and height of the picture; its middle is that of the distortion.
    radial
        Whether a radial term is fitted beside the homography.
    """
    grid = np.array([divmod(number, PATTERN[0]) for number in numbers], dtype=np.float64)
    grid = grid[:, ::-1] - 0.5 * (np.array(PATTERN) - 1.0)
    start, _ = cv2.findHomography(grid, centres)
    middle = 0.5 * (np.array(size_px) - 1.0)
    half = float(np.hypot(*middle))

    def left_over(p: Array) -> Array:
        mapped = np.column_stack([grid, np.ones(len(grid))]) @ np.append(p[:8], 1.0).reshape(3, 3).T
        off = (mapped[:, :2] / mapped[:, 2:] - middle) / half
        bent = off * (1.0 + p[8] * (off**2).sum(axis=1, keepdims=True)) if radial else off
        return np.asarray(middle + half * bent - centres).ravel()

    first = np.append((np.asarray(start) / start[2, 2]).ravel()[:8], 0.0)
    best = least_squares(left_over, first, method="lm", x_scale="jac")
    return float(np.sqrt(np.mean(best.fun**2)))


# -- tables ----------------------------------------------------------------------------------


def _as_it_stands(report: Report, sheets: Sequence[Sheet]) -> None:
    rows: list[tuple[object, ...]] = []
    grades, asked, taken = [], 0, 0
    for sheet in sheets:
        seen = look(sheet)
        refused = ", ".join(f"{count} {reason}" for reason, count in seen.refusals.most_common())
        found = f"{len(seen.fits)} of {len(sheet.dots)}"
        left = (_said(value) for value in residuals_px(sheet, seen, radial=True))
        rows.append(
            (sheet.name, found, seen.elsewhere, refused or "-", *_differences(sheet, seen), *left)
        )
        asked, taken = asked + len(sheet.dots), taken + len(seen.fits)
        grades.append(_apart_grade(sheet, seen))
    header = (
        *("photograph", "dots found", "another dot", "refused", "smallest ratio"),
        *("apart px", "most px", "sigma px", "in 2 sigma"),
        *("finder px", "findCirclesGrid px", "centroid px"),
    )
    note = (
        f"{taken} of {asked} dots are taken for a bore. {verdict(grades, APART_GOAL_PX, ' px')} "
        "Each dot was asked for in the whole photograph, `near` its place from "
        "`cv2.findCirclesGrid` and with the radius of its contour. The sheet is seen obliquely: a "
        "dot whose axes have a ratio under "
        f"{FinderSettings().lowest_roundness:g} is no bore to the finder, which then looks at the "
        "whole photograph, where it sees 36 dots. `another dot`: one of those was the answer. "
        "`smallest ratio`: of the axes of those found. `apart`: RMS per coordinate between finder "
        "and `findCirclesGrid`, which has errors of its own; `sigma`: median of what "
        "the finder states; `in 2 sigma`: share of these differences within twice that. Last "
        "three columns: RMS per coordinate that a homography and one radial term leave over, of "
        f"the same dots by three ways to find them; not for fewer than {FEWEST} dots."
    )
    report.table("As the finder stands", header, rows, note=note)


def _with_ovals(report: Report, sheets: Sequence[Sheet]) -> None:
    rows: list[tuple[object, ...]] = []
    residual_grades, apart_grades = [], []
    for sheet in sheets:
        seen = look(sheet, ANY_OVAL)
        plain, bent = (residuals_px(sheet, seen, radial=radial) for radial in (False, True))
        cells = (*_differences(sheet, seen), *map(_said, plain), *map(_said, bent))
        rows.append((sheet.name, f"{len(seen.fits)} of {len(sheet.dots)}", *cells))
        complete = len(seen.fits) == len(sheet.dots)
        ratio = bent[0] / bent[1]
        residual_grades.append(Grade(value=ratio, where=sheet.name, complete=complete))
        apart_grades.append(_apart_grade(sheet, seen))
    header = (
        *("photograph", "dots found", "smallest ratio"),
        *("apart px", "most px", "sigma px", "in 2 sigma"),
        *("finder px", "findCirclesGrid px", "centroid px"),
        *("finder, radial px", "findCirclesGrid, radial px", "centroid, radial px"),
    )
    note = (
        f"Residual over that of `findCirclesGrid`: {verdict(residual_grades, RESIDUAL_GOAL, '')} "
        f"Apart from it: {verdict(apart_grades, APART_GOAL_PX, ' px')} For this table alone "
        f"`lowest_roundness` is {ANY_OVAL.lowest_roundness:g} instead of "
        f"{FinderSettings().lowest_roundness:g}; nothing else is changed. Three columns are what a "
        "homography alone leaves over, three what a homography and one radial term leave over. "
        "All three ways leave over much the same, so most of it does not come from finding the "
        "dots: a sheet that is not quite flat, or a lens that bends in more than one way."
    )
    report.table("With oval dots allowed", header, rows, note=note)


def residuals_px(sheet: Sheet, seen: Look, *, radial: bool) -> tuple[float, float, float]:
    """Return what a grid leaves over of the finder's, OpenCV's and the contours' centres.

    All three are of the dots that the finder found; not a number where these are too few.
    """
    numbers = sorted(seen.fits)
    if len(numbers) < FEWEST:
        return float("nan"), float("nan"), float("nan")
    high, wide = sheet.picture.shape
    ways = (
        [seen.fits[n].centre_px for n in numbers],
        [sheet.dots[n].centre_px for n in numbers],
        [sheet.dots[n].centroid_px for n in numbers],
    )
    finder, opencv, contours = (
        grid_residual_px(numbers, np.array(way), (wide, high), radial=radial) for way in ways
    )
    return finder, opencv, contours


def apart_px(sheet: Sheet, seen: Look) -> Array:
    """Return by how much finder and `findCirclesGrid` differ, shape (N, 2)."""
    off = [_between(fit.centre_px, sheet.dots[n].centre_px) for n, fit in seen.fits.items()]
    return np.array(off, dtype=np.float64).reshape(-1, 2)


def _differences(sheet: Sheet, seen: Look) -> tuple[str, str, str, str, str]:
    if not seen.fits:
        return "-", "-", "-", "-", "-"
    fits = seen.fits.values()
    off = apart_px(sheet, seen)
    sigma = np.sqrt([(fit.cov_px2.uu, fit.cov_px2.vv) for fit in fits])
    return (
        f"{min(fit.roundness_ratio for fit in fits):.2f}",
        f"{_rms(off):.3f}",
        f"{np.abs(off).max():.3f}",
        f"{np.median(sigma):.3f}",
        f"{100 * (np.abs(off) < 2 * sigma).mean():.0f} %",
    )


def _apart_grade(sheet: Sheet, seen: Look) -> Grade:
    complete = len(seen.fits) == len(sheet.dots)
    return Grade(value=_rms(apart_px(sheet, seen)), where=sheet.name, complete=complete)


def _between(one: PointPx, other: PointPx) -> tuple[float, float]:
    return one.u - other.u, one.v - other.v


def _rms(off: Array) -> float:
    return float(np.sqrt(np.mean(off**2))) if off.size else float("nan")


def _said(value: float) -> str:
    return f"{value:.3f}" if np.isfinite(value) else "-"


def _arguments() -> Path:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument(
        "--folder", type=Path, default=INSTALLED, help=f"folder of the photographs ({INSTALLED})"
    )
    folder: Path = parser.parse_args().folder
    missing = [name for name in NAMES if not (folder / name).is_file()]
    if missing:
        parser.error(
            f"{folder} holds no {', '.join(missing)}; they come with the Debian package "
            "visp-images-data, in ViSP-images/calibration"
        )
    return folder


if __name__ == "__main__":
    main()
