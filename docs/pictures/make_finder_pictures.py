"""Makes the pictures of explanations/finding-the-bore.md: what the finder has at each stage.

Each picture is drawn from what the finder's own functions return for a picture that
tests/benchmarks/finder/painter.py paints from a seed, so the same finder always makes the same
files. Run it by hand after a change of the finder:

    python docs/pictures/make_finder_pictures.py
    python docs/pictures/make_finder_pictures.py --to /somewhere
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1]))

from docs.pictures.charts import (
    BLUE,
    FINE,
    INK,
    ORANGE,
    PAPER,
    Chart,
    Image,
    below,
    beside,
    bgr,
    framed,
    levels,
    titled,
)
from tests.benchmarks.finder.case import Case
from tests.benchmarks.finder.painter import dirty, unusable
from vision.bore.edge_break import _RAYS, _SPAN_PX, _steps, rim_beyond
from vision.bore.finder import _around
from vision.bore.inside import Inside, look_inside
from vision.bore.noise import noise_of
from vision.bore.picture import Picture, Planes, halved, read_picture, to_plane
from vision.bore.rays import _SECOND_STEPS, Curve, Rays, cast, local_edges
from vision.bore.rim import Rim, fit_rim
from vision.bore.rough import _STEPS, Rough, _edges, _polar, roughly
from vision.bore.search import Place, _voters, search
from vision.bore.settings import FinderSettings
from vision.bore.verdict import _CORNERS

Array = NDArray[np.float64]

PICTURES = (
    "finder-votes.png",
    "finder-places.png",
    "finder-window.png",
    "finder-steps.png",
    "finder-break.png",
    "finder-corners.png",
    "finder-gap.png",
)
"""All that this script makes, in this order."""

DIRTY, BREAK, ROUND, PLASTIC = 2, 607, 117, 186
"""Seeds of `dirty`: lamps at the rim; a lit edge break and a drop; a plain bore; plastic."""

HEXAGON, DROP = 93, 36
"""Seeds of `unusable`: a hexagonal hole; a drop that hides the whole bore."""

SETTINGS = FinderSettings()


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """One painted picture as far as the finder has come with it."""

    frame: Image
    planes: Planes
    place: Place
    rough: Rough
    noise: float
    rim: Rim

    @property
    def picture(self) -> Picture:
        """The grey picture in full."""
        return self.planes.whole


class Album:
    """The folder that the pictures go to."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def save(self, name: str, image: Image) -> None:
        """Write one picture."""
        padded = cv2.copyMakeBorder(image, 8, 8, 8, 8, cv2.BORDER_CONSTANT, value=PAPER)
        path = self.folder / name
        if not cv2.imwrite(str(path), padded, [cv2.IMWRITE_PNG_COMPRESSION, 9]):
            raise OSError(f"{path} could not be written")
        print(f"{name}: {path.stat().st_size / 1e3:.0f} kB")


def main(words: Sequence[str] | None = None) -> None:
    """Make all pictures."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--to", type=Path, default=HERE, help="folder, this one if not given")
    album = Album(parser.parse_args(words).to)
    cv2.setNumThreads(1)
    seen = scene(dirty(DIRTY).frame)
    album.save("finder-votes.png", votes(seen))
    album.save("finder-places.png", places(seen))
    album.save("finder-window.png", window(seen))
    album.save("finder-steps.png", second_step(seen))
    lit = dirty(BREAK)
    album.save("finder-break.png", edge_break(scene(lit.frame), lit))
    hexagon, bore = scene(unusable(HEXAGON).frame), scene(dirty(ROUND).frame)
    album.save("finder-corners.png", below(corners(hexagon, "Hexagon"), corners(bore, "Bore")))
    drop, plastic = scene(unusable(DROP).frame), scene(dirty(PLASTIC).frame)
    album.save("finder-gap.png", below(gap(drop, "Drop"), gap(plastic, "Plastic in a bore")))


def scene(frame: Image) -> Scene:
    """Take a picture as far as the rim of its best place, as the finder does."""
    picture = read_picture(frame)
    if not isinstance(picture, Picture):
        raise TypeError(picture.message)
    planes = halved(picture.grey(), SETTINGS.smallest_half_px)
    found = search(planes, SETTINGS.smallest_radius_px, SETTINGS.largest_radius_px, SETTINGS)
    rough = max(roughly(planes, found, SETTINGS), key=lambda one: one.score)
    noise = noise_of(_around(planes.whole, rough.curve))
    rim = fit_rim(planes.whole, rough.curve, noise, SETTINGS)
    if rim is None:
        raise ValueError("nothing round is in this picture")
    # Several places lead to one rim: the one that most edges voted for is shown.
    for place in found:
        for one in roughly(planes, [place], SETTINGS):
            if abs(one.curve.radius / rough.curve.radius - 1.0) < SETTINGS.same_radius:
                return Scene(
                    frame=frame, planes=planes, place=place, rough=one, noise=noise, rim=rim
                )
    raise ValueError("no place leads to the rim")


def votes(seen: Scene) -> Image:
    """Show the picture, its strongest edges, and their votes for one radius."""
    level = level_of(seen.place.radius)
    half = seen.planes.pictures[level]
    factor = 2**level
    points, directions, weights = _voters(half, SETTINGS)
    size = (half.width * factor, half.height * factor)
    edges = np.full((size[1], size[0], 3), 255, np.uint8)
    for (u, v), (du, dv) in zip(points, directions, strict=True):
        ends = [((np.array([u, v]) - k * np.array([du, dv]) + 0.5) * factor) for k in (0, 1.0)]
        start, end = (tuple(int(x) for x in end * 2**FINE) for end in ends)
        cv2.line(edges, start, end, BLUE, 1, cv2.LINE_AA, FINE)
        cv2.circle(edges, start, 18, INK, -1, cv2.LINE_AA, FINE)
    radius = seen.place.radius / factor
    tally = np.zeros((half.height, half.width), np.float32)
    at = np.rint(points - radius * directions).astype(int)
    inside = ((at >= 0) & (at < [half.width, half.height])).all(axis=1)
    np.add.at(tally, (at[inside, 1], at[inside, 0]), weights[inside])
    smooth = cv2.GaussianBlur(tally, (5, 5), 1.0)
    light = levels(1.0 - smooth / smooth.max())
    counted = bgr(light.repeat(factor, axis=0).repeat(factor, axis=1))
    centre = tuple(
        round((to_plane(level, x) + 0.5) * factor * 2**FINE) for x in (seen.place.u, seen.place.v)
    )
    for dotted in np.arange(0.0, 360.0, 12.0):
        axes = (round(seen.place.radius * 2**FINE),) * 2
        cv2.ellipse(counted, centre, axes, 0, dotted, dotted + 6, ORANGE, 2, cv2.LINE_AA, FINE)
    return beside(
        titled(bgr(seen.frame), f"The picture (seed {DIRTY})"),
        titled(framed(edges), f"Strongest edges of one {half.width} x {half.height} half"),
        titled(framed(counted), f"Their votes for a radius of {seen.place.radius:.0f} px"),
    )


def places(seen: Scene) -> Image:
    """Show what is read round the best place, with all steps and the chosen circle."""
    values = _polar(seen.planes, seen.place, SETTINGS)
    found = _edges(values[None])
    step = 360.0 / len(values)
    chart = Chart(
        (600, 230),
        (-0.5 * step, 360.0 - 0.5 * step),
        (float(_STEPS[0]) - 0.02, float(_STEPS[-1]) + 0.02),
        ("A place, its circle laid open", "direction, degrees", "up: away from the centre, radii"),
    )
    chart.backdrop(values)
    angles = np.deg2rad(found.ray * step)
    p = off_place(seen)
    away = np.abs(found.rho - 1.0 - wave(p, angles))
    near = away < 0.105
    chart.marks(found.ray[near] * step, found.rho[near], BLUE)
    chart.marks(found.ray[~near] * step, found.rho[~near], ORANGE, cross=True)
    round_it = np.linspace(*chart.across, 200)
    chart.line(round_it, 1.0 + wave(p, np.deg2rad(round_it)), BLUE)
    return chart.done(range(0, 360, 60), (0.5, 1.0, 1.5))


def window(seen: Scene) -> Image:
    """Show the last window: where on each ray the edge lies, and what is believed of it."""
    rim, rays = seen.rim, seen.rim.rays
    chart = around(rays, (600, 190), ("The last window, seen along the rim", "px"))
    chart.backdrop(rays.values)
    degrees = np.rad2deg(rays.angles)
    known = np.isfinite(rim.residuals)
    good = rim.believed & known
    chart.marks(degrees[good], rim.residuals[good], BLUE)
    bad = ~rim.believed & known
    chart.marks(degrees[bad], rim.residuals[bad], ORANGE, cross=True)
    double = local_edges(rays, rim.blur, seen.noise).double
    low = rays.steps[0]
    for at in degrees[double]:
        chart.line(np.array([at, at]), np.array([low, low + 0.8]), PAPER)
    return chart.done(range(0, 360, 60), (-4, -2, 0, 2, 4))


def second_step(seen: Scene) -> Image:
    """Show two single rays: one with an edge alone, one with a second step beside it."""
    rim, rays = seen.rim, seen.rim.rays
    double = local_edges(rays, rim.blur, seen.noise).double
    single = np.flatnonzero(rim.believed & ~double)
    plain = int(single[np.argmin(np.abs(rim.residuals[single]))])
    off = np.array(
        [abs(one_step(rays, rim.blur, i)[1] - rim.residuals[i]) for i in range(len(double))]
    )
    lamp = int(np.argmax(np.where(double & rim.believed & np.isfinite(off), off, -1.0)))
    return beside(
        ray_chart(seen, plain, "A ray with its edge alone"),
        ray_chart(seen, lamp, "A lamp's image beside the rim"),
    )


def ray_chart(seen: Scene, number: int, title: str) -> Image:
    """Plot one ray with the fits of one step and of two."""
    rays, blur = seen.rim.rays, seen.rim.blur
    values = rays.values[number].astype(np.float64)
    chart = Chart(
        (290, 190),
        (float(rays.steps[0]) - 0.3, float(rays.steps[-1]) + 0.3),
        (-0.03, 1.12),
        (title, "px from the rim outwards", "light"),
    )
    fine = np.linspace(rays.steps[0], rays.steps[-1], 120)
    one, two = one_step(rays, blur, number), two_steps(rays, blur, number)
    if local_edges(rays, blur, seen.noise).double[number]:
        chart.line(fine, fitted(one[0], fine, blur), ORANGE, dashed=True)
        chart.line(fine, fitted(two[0], fine, blur, two[2]), BLUE)
        chart.line(np.full(2, one[1]), np.array([0.0, 0.1]), ORANGE)
        chart.line(np.full(2, two[1]), np.array([0.0, 0.1]), BLUE)
    else:
        chart.line(fine, fitted(one[0], fine, blur), BLUE)
        chart.line(np.full(2, one[1]), np.array([0.0, 0.1]), BLUE)
    chart.marks(rays.steps, values, INK)
    return chart.done((-4, -2, 0, 2, 4), (0, 0.5, 1))


def one_step(rays: Rays, blur: float, number: int) -> tuple[Array, float, float]:
    """Return dark, height and height x shift of one ray's edge, and the shift."""
    amounts = np.linalg.lstsq(columns(rays.steps, blur), rays.values[number], rcond=None)[0]
    return amounts, float(-amounts[2] / amounts[1]), 0.0


def two_steps(rays: Rays, blur: float, number: int) -> tuple[Array, float, float]:
    """Return the same with a second step, and how far off that step lies."""
    best = (np.inf, np.zeros(4), 0.0)
    for apart in np.concatenate([-_SECOND_STEPS, _SECOND_STEPS]) * blur:
        if rays.steps[0] + 0.3 * blur < apart < rays.steps[-1] - 0.3 * blur:
            design = columns(rays.steps, blur, apart)
            amounts = np.linalg.lstsq(design, rays.values[number], rcond=None)[0]
            left = float(((rays.values[number] - design @ amounts) ** 2).sum())
            best = min(best, (left, amounts, float(apart)), key=lambda one: one[0])
    return best[1], float(-best[1][2] / best[1][1]), best[2]


def columns(x: Array, blur: float, apart: float | None = None) -> Array:
    """Return what is laid through a ray: level, step, the step's slope, a second step."""
    bell = np.exp(-0.5 * (x / blur) ** 2) / (np.sqrt(2.0 * np.pi) * blur)
    found = [np.ones_like(x), ndtr(x / blur), bell]
    return np.stack(found if apart is None else [*found, ndtr((x - apart) / blur)], axis=1)


def fitted(amounts: Array, x: Array, blur: float, apart: float | None = None) -> Array:
    """Return the brightness that a fit stands for."""
    shift = -amounts[2] / amounts[1]
    light: Array = amounts[0] + amounts[1] * ndtr((x - shift) / blur)
    if apart is not None:
        light += amounts[3] * ndtr((x - apart) / blur)
    return light


def edge_break(seen: Scene, case: Case) -> Image:
    """Show a lit edge break: its steps, the circle of one step a ray, and the outer one."""
    plain = seen.rim
    outer = rim_beyond(seen.picture, plain, seen.noise, SETTINGS)
    if outer is plain:
        raise ValueError("the finder sees no edge break here")
    far = [off_truth(rim, case) for rim in (plain, outer)]
    print(f"one circle {far[0]:.2f} px off, the outer one {far[1]:.2f} px")
    span = max(_SPAN_PX, 0.9 * plain.blur)
    reach = SETTINGS.ring_reach * plain.curve.radius
    rays = cast(
        seen.picture,
        plain.curve,
        count=_RAYS,
        inside=-reach - 2.0 * span,
        outside=reach + 2.0 * span,
        step=0.5,
    )
    chart = around(rays, (600, 240), ("A lit edge break, seen along the rim", "px"))
    chart.backdrop(rays.values)
    at, heights = _steps(rays, span)
    main = np.median(heights.max(axis=1))
    degrees = np.broadcast_to(np.rad2deg(rays.angles)[:, None], at.shape)
    strong = heights > 0.5 * main
    weak = (heights > 0.08 * main) & ~strong
    chart.marks(degrees[strong], at[strong], INK)
    chart.marks(degrees[weak], at[weak], PAPER)
    angles = np.deg2rad(np.linspace(*chart.across, 200))
    chart.line(np.rad2deg(angles), seen_from(plain.curve, plain.curve, angles), ORANGE, dashed=True)
    chart.line(np.rad2deg(angles), seen_from(plain.curve, outer.curve, angles), BLUE)
    ticks = (-8, -4, 0, 4, 8)
    return beside(cut_out(seen, 1.7, 298), chart.done(range(0, 360, 60), ticks))


def corners(seen: Scene, name: str) -> Image:
    """Show how far the edge is off the curve, and what each number of corners has of it."""
    rim = seen.rim
    radius, good = rim.curve.radius, rim.believed
    angles, off = rim.angles[good], rim.residuals[good]
    waves = np.exp(-1j * _CORNERS[:, None] * angles[None]) @ off * 2.0 / good.sum()
    most = int(np.abs(waves).argmax())
    chart = Chart(
        (300, 140),
        (0.0, 360.0),
        (-0.11, 0.11),
        (f"{name}: off the curve", "direction, degrees", "radii"),
    )
    chart.marks(np.rad2deg(angles), off / radius, INK)
    smooth = np.linspace(0.0, 2 * np.pi, 200)
    number = int(_CORNERS[most])
    chart.line(
        np.rad2deg(smooth), np.real(waves[most] * np.exp(1j * number * smooth)) / radius, BLUE
    )
    bars = Chart((170, 140), (3.4, 8.6), (0.0, 0.06), ("By corners", "number", "radii"))
    for count, amount in zip(_CORNERS, np.abs(waves) / radius, strict=True):
        bars.bar(float(count), 0.3, float(amount), BLUE)
    limit = SETTINGS.largest_corner_ratio
    bars.line(np.array([3.4, 8.6]), np.full(2, limit), ORANGE, dashed=True)
    return beside(
        cut_out(seen, 1.6, 198),
        chart.done(range(0, 361, 90), (-0.1, 0.0, 0.1)),
        bars.done(_CORNERS.tolist(), (0.0, 0.02, 0.04)),
    )


def gap(seen: Scene, name: str) -> Image:
    """Show the brightness from the middle to the land, and the dark gap in it."""
    rim = seen.rim
    radius, blur = rim.curve.radius, rim.blur
    inside: Inside = look_inside(seen.picture, rim)
    rays = cast(
        seen.picture, rim.curve, count=36, inside=-0.96 * radius, outside=10.0, step=radius / 60.0
    )
    profile = np.median(rays.values, axis=0).astype(np.float64)
    chart = Chart(
        (440, 170),
        (-radius, 10.0),
        (-0.03, 1.04),
        (f"{name}: median over all directions", "px from the rim outwards", "light"),
    )
    widest = min(
        SETTINGS.widest_gap_px + 2.5 * blur, SETTINGS.widest_gap_ratio * radius + 1.2 * blur
    )
    chart.line(rays.steps, profile, INK)
    for place, colour, dashed in ((-widest, ORANGE, True), (-inside.gap_px, BLUE, False)):
        chart.line(np.full(2, place), np.array([0.0, 1.0]), colour, dashed=dashed)
    return beside(cut_out(seen, 1.45, 228), chart.done((-40, -30, -20, -10, 0, 10), (0, 0.5, 1)))


def around(rays: Rays, size: tuple[int, int], words: tuple[str, str]) -> Chart:
    """Return a frame for rays: direction across, distance from the curve up."""
    turn = 360.0 / len(rays.angles)
    step = float(rays.steps[1] - rays.steps[0])
    return Chart(
        size,
        (-0.5 * turn, 360.0 - 0.5 * turn),
        (float(rays.steps[0]) - 0.5 * step, float(rays.steps[-1]) + 0.5 * step),
        (words[0], "direction, degrees", f"up: away from the centre, {words[1]}"),
    )


def level_of(radius: float) -> int:
    """Return the half in which a radius is searched."""
    return max(0, int(np.floor(np.log2(radius / SETTINGS.search_radius_px))))


def off_place(seen: Scene) -> Array:
    """Return how far the rough circle is off its place, in radii of the place."""
    curve, place = seen.rough.curve, seen.place
    return (
        np.array([curve.u - place.u, curve.v - place.v, curve.radius - place.radius]) / place.radius
    )


def wave(p: Array, angles: Array) -> Array:
    """Return a moved circle as rays see it that start at the old centre."""
    moved: Array = p[0] * np.cos(angles) + p[1] * np.sin(angles) + p[2]
    return moved


def seen_from(one: Curve, other: Curve, angles: Array) -> Array:
    """Return how far outside of one curve the other lies on its rays."""
    p = np.array([other.u - one.u, other.v - one.v, 0.0])
    return wave(p, angles) + other.at(angles) - one.at(angles)


def off_truth(rim: Rim, case: Case) -> float:
    """Return how far a rim's centre is off the true one, in px."""
    if case.centre_px is None:
        raise ValueError(f"{case.kind} has no centre")
    return float(np.hypot(rim.curve.u - case.centre_px[0], rim.curve.v - case.centre_px[1]))


def cut_out(seen: Scene, reach: float, side: int) -> Image:
    """Return the picture round the rim, as a square of `side` pixels."""
    curve = seen.rim.curve
    grey = seen.picture.cut(0, 0, seen.picture.width, seen.picture.height)
    scale = 0.5 * side / (reach * curve.radius)
    shift = np.array(
        [[scale, 0.0, 0.5 * side - scale * curve.u], [0.0, scale, 0.5 * side - scale * curve.v]]
    )
    part = cv2.warpAffine(grey, shift, (side, side), flags=cv2.INTER_LINEAR, borderValue=1.0)
    return bgr(levels(np.asarray(part, dtype=np.float32)))


if __name__ == "__main__":
    main()
