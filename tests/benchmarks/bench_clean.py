"""How good the bore finder is on clean pictures, where the truth and the best possible are known.

Four tables: scatter against the Cramer-Rao bound, bias over the sub-pixel phase, shift by uneven
light, shift by a lit crescent of the bore's wall. Not collected by pytest.

    python -m tests.benchmarks.bench_clean --quick
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import product
from math import ceil, cos, pi, sin

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from tests.benchmarks.finder.bound import centre_bound_px
from tests.benchmarks.finder.discs import (
    Crescent,
    Disc,
    Picture,
    Slope,
    draw,
    draw_crescent,
    draw_sloped,
    expose,
    frame_side,
    middle_of,
)
from tests.benchmarks.finder.goals import Grade, verdict
from tests.benchmarks.finder.plain_calls import Centre, centroid, hough, otsu_ellipse
from tests.benchmarks.finder.report import Report, keep_to_one_thread
from vision.bore import BoreFit, RadiusPrior, find_bore

Array = NDArray[np.float64]

SCATTER_GOAL, BIAS_GOAL_PX, SLOPE_GOAL_PX, CRESCENT_GOAL_PX = 1.35, 0.005, 0.03, 0.1
SOFTEST = 0.3
"""Blur over radius from which the finder says that a picture is out of focus."""
Draw = Callable[[int, Disc, float], Array]
"""Draws a frame of a side, of a disc, with its light or crescent in a direction."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """How much is drawn.

    Attributes
    ----------
    pictures, compared
        Pictures a row of the scatter; how many of them go to plain calls too.
    phases, phase_sigma_px
        Places within a pixel, per axis; how well the mean error at one shall be known.
    seeds
        Pictures a cell of uneven light and of crescents.
    """

    pictures: int
    compared: int
    phases: int
    phase_sigma_px: float
    seeds: int


FULL = Size(pictures=200, compared=50, phases=8, phase_sigma_px=0.0007, seeds=10)
QUICK = Size(pictures=10, compared=6, phases=4, phase_sigma_px=0.002, seeds=2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One picture, its truth, and the direction of its light or crescent."""

    picture: Picture
    disc: Disc
    towards_rad: float


def main() -> None:
    """Make the tables and the page docs/grades/clean.md."""
    size, seed = _arguments()
    keep_to_one_thread()
    report = Report(
        "clean",
        "Clean pictures: how near the finder comes to the best possible",
        seed=seed,
        samples=f"{size.pictures} pictures a row of scatter ({size.compared} for plain calls), "
        f"{size.phases} x {size.phases} phases with means known to {size.phase_sigma_px:g} px, "
        f"{size.seeds} pictures a cell of light and crescents",
    )
    for part in (_scatter, _phases, _slopes, _crescents):
        part(report, size, seed)
    report.finish()


# -- scatter ---------------------------------------------------------------------------------


def _scatter(report: Report, size: Size, seed: int) -> None:
    rows: list[tuple[object, ...]] = []
    grades, skipped = [], []
    for number, (radius, blur, noise) in enumerate(
        product((12, 20, 40, 80, 150), (1, 2, 4), (2, 5))
    ):
        if blur > SOFTEST * radius:
            skipped.append(f"R {radius}, s {blur}")
            rows.append((radius, blur, noise, "", "skipped", *6 * [""]))
            continue
        row, grade = _scatter_row(radius, blur, noise, size, np.random.default_rng([seed, number]))
        rows.append(row)
        grades.append(grade)
    note = (
        f"{verdict(grades, SCATTER_GOAL, '')} RMS per axis over random sub-pixel places, contrast "
        "155, radius prior given. By chance alone the ratio is uncertain by "
        f"{50 / size.pictures**0.5:.1f} %. `in 2 sigma`: share of errors, per axis, within twice "
        "the sigma that the finder states. Last three columns: RMS / bound of plain calls; the "
        "centroid is told where the bore is and how far its blur reaches; in brackets the "
        "share of pictures in which a call found it, where that is not all. Skipped, as out of "
        "focus (blur over "
        f"{SOFTEST:g} R): {', '.join(dict.fromkeys(skipped))}."
    )
    header = (
        *("R px", "blur px", "noise", "bound px", "found", "RMS px", "RMS / bound", "in 2 sigma"),
        *("centroid", "Otsu + fitEllipse", "HoughCircles"),
    )
    report.table("Scatter over the Cramer-Rao bound", header, rows, note=note)


def _scatter_row(
    radius: float, blur: float, noise: float, size: Size, rng: np.random.Generator
) -> tuple[tuple[object, ...], Grade]:
    side, prior = frame_side(radius), RadiusPrior(radius_px=radius)
    bound = centre_bound_px(side, _disc(side, radius, blur, (0.25, 0.1)), noise)
    own, sigmas, others = [], [], []
    for number in range(size.pictures):
        disc = _disc(side, radius, blur, _anywhere(rng))
        picture = expose(draw(side, disc), noise, rng)
        fit = find_bore(picture, radius_prior=prior)
        if isinstance(fit, BoreFit):
            own.append(_off(fit.centre_px, disc))
            sigmas.append(np.sqrt([fit.cov_px2.uu, fit.cov_px2.vv]))
        if number < size.compared:
            others.append([_missed(c, disc) for c in _plain(picture, disc)])
    errors = np.array(own).reshape(-1, 2)
    ratio = _rms(errors) / bound
    inside = np.abs(errors) < 2 * np.array(sigmas).reshape(-1, 2)
    row = (
        *(radius, blur, noise, f"{bound:.4f}", f"{len(own)} of {size.pictures}"),
        *(f"{_rms(errors):.4f}", f"{ratio:.2f}", f"{100 * inside.mean():.0f} %" if own else "-"),
        *(_against(errors, bound) for errors in np.array(others).swapaxes(0, 1)),
    )
    where = f"R {radius:g}, s {blur:g}, noise {noise:g}"
    return row, Grade(value=ratio, where=where, complete=len(own) == size.pictures)


def _plain(picture: Picture, disc: Disc) -> tuple[Centre, Centre, Centre]:
    near = disc.centre_px
    rough = (float(round(near[0])), float(round(near[1])))
    return (
        centroid(picture, rough, disc.radius_px + 2.5 * disc.edge_px),
        otsu_ellipse(picture, rough),
        hough(picture, rough, disc.radius_px),
    )


def _against(errors: Array, bound: float) -> str:
    found = errors[np.isfinite(errors).all(axis=1)]
    share = len(found) / len(errors)
    said = f"{_rms(found) / bound:.1f}" if len(found) else "-"
    return said if share == 1 else f"{said} ({100 * share:.0f} %)"


# -- bias over the phase ---------------------------------------------------------------------


def _phases(report: Report, size: Size, seed: int) -> None:
    rows, grades = [], []
    for number, (radius, blur) in enumerate(product((12, 40), (1.0, 1.5))):
        rng = np.random.default_rng([seed, 100 + number])
        bias, sigma, count, lost = _phase_bias(radius, blur, size, rng)
        most = float(np.abs(bias).max())
        grades.append(Grade(value=most, where=f"R {radius}, s {blur:g}", complete=not lost))
        rows.append((radius, blur, count, lost, f"{most:.4f}", f"{_rms(bias):.4f}", f"{sigma:.4f}"))
    header = ("R px", "blur px", "a phase", "refused", "max bias px", "RMS bias px", "sigma of it")
    means = 2 * size.phases**2
    note = (
        f"{verdict(grades, BIAS_GOAL_PX, ' px')} Mean error per axis at each of {size.phases} x "
        f"{size.phases} places within a pixel; noise 1, which also dithers the rounding. `sigma "
        "of it`: standard deviation of one such mean. A finder without bias would show an RMS of "
        f"that, and a maximum of about {ndtri((1 + 0.5 ** (1 / means)) / 2):.1f} times that."
    )
    report.table("Bias over the sub-pixel phase", header, rows, note=note)


def _phase_bias(
    radius: float, blur: float, size: Size, rng: np.random.Generator
) -> tuple[Array, float, int, int]:
    """Return mean errors (N, 2), their sigma, pictures a phase, and refusals in all."""
    noise, side = 1.0, frame_side(radius)
    bound = centre_bound_px(side, _disc(side, radius, blur, (0.25, 0.1)), noise)
    count = max(ceil((SCATTER_GOAL * bound / size.phase_sigma_px) ** 2), 4)
    means, variances, lost = [np.full(2, np.nan)], [np.nan], 0
    for column, row in np.ndindex(size.phases, size.phases):
        disc = _disc(side, radius, blur, (column / size.phases - 0.5, row / size.phases - 0.5))
        light = draw(side, disc)
        errors = _errors(disc, (expose(light, noise, rng) for _ in range(count)), prior=True)
        lost += count - len(errors)
        if len(errors) > 1:
            means.append(errors.mean(axis=0))
            variances.append(errors.var(axis=0, ddof=1).mean() / len(errors))
    known = slice(1 if len(means) > 1 else 0, None)
    return np.array(means[known]), float(np.sqrt(np.mean(variances[known]))), count, lost


# -- uneven light ----------------------------------------------------------------------------


def _slopes(report: Report, size: Size, seed: int) -> None:
    rows = []
    on_land: list[Grade] = []
    of_lens: list[Grade] = []
    kinds = product((0.1, 0.3, 0.6), (1.0, 2.2), (20, 40), (1.2, 3.0))
    for number, (per_diameter, gamma, radius, blur) in enumerate(kinds):
        cells = []
        for behind_lens, grades in ((False, on_land), (True, of_lens)):
            make = partial(_sloped, per_diameter, gamma, behind_lens)
            rng = np.random.default_rng([seed, 200 + number, int(behind_lens)])
            shots = _shots(radius, blur, make, size.seeds, rng)
            where = f"{per_diameter:g} a diameter, gamma {gamma:g}, R {radius}, s {blur:g}"
            cell, grade = _shift(shots, where, prior=True)
            cells.append(cell)
            grades.append(grade)
        rows.append((per_diameter, gamma, radius, blur, *cells))
    header = ("light a diameter", "gamma", "R px", "blur px", "on the land, px", "by the lens, px")
    note = (
        f"Light on the land: {verdict(on_land, SLOPE_GOAL_PX, ' px')} Falloff of the lens: "
        f"{verdict(of_lens, SLOPE_GOAL_PX, ' px')} Length of the mean error; noise 2, radius "
        "prior given, light growing in a random direction. Light on the land is blurred with it, "
        "falloff of the lens comes after the blur: between the two the steepest place of the edge "
        "differs by (light a px) x blur^2, up to 0.14 px here, and only the slope of the land "
        "beside the rim tells which it is. All is dimmed so that nothing is burnt out."
    )
    report.table("Shift by uneven light", header, rows, note=note)


def _sloped(
    per_diameter: float, gamma: float, behind_lens: bool, side: int, disc: Disc, way: float
) -> Array:
    slope = Slope(per_diameter=per_diameter, towards_rad=way, behind_lens=behind_lens)
    return draw_sloped(side, disc, slope, gamma=gamma)


# -- crescents -------------------------------------------------------------------------------


def _crescents(report: Report, size: Size, seed: int) -> None:
    shares, tables = (0.1, 0.2, 0.3, 0.4, 0.5), {False: _Sheet(), True: _Sheet()}
    kinds = product((25, 40), (1.2, 2.0), (0.2, 0.4, 0.6, 0.8))
    for number, (radius, blur, level) in enumerate(kinds):
        cells: dict[bool, list[str]] = {False: [], True: []}
        for share in shares:
            rng = np.random.default_rng([seed, 300 + number, int(10 * share)])
            shots = _shots(radius, blur, partial(_lit_wall, level, share), size.seeds, rng)
            where = f"R {radius}, s {blur:g}, {level:g} of the land, {share:g} R thick"
            for prior, sheet in tables.items():
                cell, grade = _shift(shots, where, prior=prior)
                cells[prior].append(cell)
                sheet.grades.append(grade)
        for prior, sheet in tables.items():
            sheet.rows.append((radius, blur, level, *cells[prior]))
    header = ("R px", "blur px", "wall / land", *(f"{share:g} R" for share in shares))
    for prior, sheet in tables.items():
        note = (
            f"{verdict(sheet.grades, CRESCENT_GOAL_PX, ' px')} Length of the mean error, px, by "
            "the crescent's greatest thickness; noise 2, no place given. In brackets how many "
            "were found, where that is not all."
        )
        given = "with a radius prior" if prior else "without a prior"
        report.table(f"Shift by a lit crescent of the wall, {given}", header, sheet.rows, note=note)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    rows: list[tuple[object, ...]] = field(default_factory=list)
    grades: list[Grade] = field(default_factory=list)


def _lit_wall(level: float, share: float, side: int, disc: Disc, way: float) -> Array:
    lit = Crescent(thickness_px=share * disc.radius_px, level=level * disc.bright, towards_rad=way)
    return draw_crescent(side, disc, lit)


# -- common ----------------------------------------------------------------------------------


def _shots(
    radius: float, blur: float, make: Draw, seeds: int, rng: np.random.Generator
) -> list[Shot]:
    side, shots = frame_side(radius), []
    for _ in range(seeds):
        disc, way = _disc(side, radius, blur, _anywhere(rng)), float(rng.uniform(-pi, pi))
        picture = expose(make(side, disc, way), 2.0, rng)
        shots.append(Shot(picture=picture, disc=disc, towards_rad=way))
    return shots


def _shift(shots: Sequence[Shot], where: str, *, prior: bool) -> tuple[str, Grade]:
    """Return the length of the mean error, each seen from its shot's own direction."""
    turned = []
    for shot in shots:
        c, s = cos(shot.towards_rad), sin(shot.towards_rad)
        errors = _errors(shot.disc, [shot.picture], prior=prior)
        turned += [(u * c + v * s, v * c - u * s) for u, v in errors]
    complete = len(turned) == len(shots)
    if not turned:
        return "refused", Grade(value=float("nan"), where=where, complete=False)
    value = float(np.hypot(*np.mean(turned, axis=0)))
    said = f"{value:.3f}" if complete else f"{value:.3f} ({len(turned)} of {len(shots)})"
    return said, Grade(value=value, where=where, complete=complete)


def _errors(disc: Disc, pictures: Iterable[Picture], *, prior: bool) -> Array:
    """Return the errors of the accepted centres, shape (N, 2)."""
    known = RadiusPrior(radius_px=disc.radius_px) if prior else None
    fits = [find_bore(picture, radius_prior=known) for picture in pictures]
    off = [_off(fit.centre_px, disc) for fit in fits if isinstance(fit, BoreFit)]
    return np.array(off, dtype=np.float64).reshape(-1, 2)


def _disc(side: int, radius: float, blur: float, shift: tuple[float, float]) -> Disc:
    return Disc(centre_px=middle_of(side, shift), radius_px=radius, blur_px=blur)


def _anywhere(rng: np.random.Generator) -> tuple[float, float]:
    u, v = rng.uniform(-0.5, 0.5, 2)
    return float(u), float(v)


def _off(centre: tuple[float, float], disc: Disc) -> tuple[float, float]:
    return centre[0] - disc.centre_px[0], centre[1] - disc.centre_px[1]


def _missed(centre: Centre, disc: Disc) -> tuple[float, float]:
    """Return the error; not a number where there is none, or another thing was found."""
    if centre is None:
        return float("nan"), float("nan")
    off = _off(centre, disc)
    return off if np.hypot(*off) < 0.5 * disc.radius_px else (float("nan"), float("nan"))


def _rms(errors: Array) -> float:
    return float(np.sqrt(np.mean(errors**2))) if errors.size else float("nan")


def _arguments() -> tuple[Size, int]:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="few pictures, under a minute")
    parser.add_argument("--pictures", type=int, help="pictures a row of scatter (200; quick 10)")
    parser.add_argument("--compared", type=int, help="of them also to plain calls (50; quick 6)")
    parser.add_argument("--seeds", type=int, help="a cell of light and crescents (10; quick 2)")
    parser.add_argument("--seed", type=int, default=1, help="first seed of the pictures (1)")
    given = parser.parse_args()
    size = QUICK if given.quick else FULL
    options = {key: getattr(given, key) for key in ("pictures", "compared", "seeds")}
    for key, value in options.items():
        if value is not None and value < 2:
            parser.error(f"--{key} must be 2 or more, got {value}")
    return replace(size, **{k: v for k, v in options.items() if v is not None}), given.seed


if __name__ == "__main__":
    main()
