"""What is painted over a tip that the renderer cannot draw: lengths in rim radii.

Each function draws its own numbers and returns a paint, which lays one thing over the linear
picture. Nothing painted moves the truth: the rim stays where the tip has it.
"""

from __future__ import annotations

import math

import numpy as np

from tests.benchmarks.finder.grading_draft import Paint, Rng
from tests.benchmarks.finder.grading_plane import (
    FloatArray,
    Patch,
    Plane,
    smooth_noise,
    streaky_noise,
)

_LEAST_SPOT_PX = 1.2


def lamp_images(rng: Rng) -> Paint:
    """Return sharp mirror images of the lamps on the land, touching the rim from outside."""
    count = int(rng.integers(3, 10))
    size = rng.uniform(0.05, min(0.2, 1.3 / count))
    first, wobble = rng.uniform(0.0, 2.0 * math.pi), rng.normal(0.0, 0.12, count)
    angles = first + 2.0 * math.pi * np.arange(count) / count + wobble
    overlap = rng.uniform(-0.6, 1.0, count)
    sizes = size * rng.uniform(0.7, 1.2, count)
    strengths = rng.uniform(2.0, 10.0) * rng.uniform(0.6, 1.2, count)

    def paint(picture: FloatArray, plane: Plane) -> None:
        patch = plane.patch(1.6)
        land = plane.land_colour(picture).mean()
        outside = patch.cover(patch.rho - 1.0)
        spots = np.zeros(patch.shape, dtype=np.float32)
        for angle, radius, over, strength in zip(angles, sizes, overlap, strengths, strict=True):
            spot = max(radius, _LEAST_SPOT_PX / plane.radius_px)
            away = 1.0 + spot * over
            place = (away * math.cos(angle), away * math.sin(angle))
            spots += np.float32(strength) * patch.cover(spot - patch.rho_about(place))
        patch.add(picture, spots * outside, np.full(3, land, dtype=np.float32))

    return paint


def burrs(rng: Rng) -> Paint:
    """Return slivers of metal that stand from the rim into the bore."""
    count = int(rng.integers(1, 5))
    angles, widths = rng.uniform(-math.pi, math.pi, count), rng.uniform(0.05, 0.3, count)
    lengths, lit = rng.uniform(0.06, 0.3, count), rng.uniform(0.4, 1.5, count)
    teeth = rng.integers(9, 31, count)

    def paint(picture: FloatArray, plane: Plane) -> None:
        patch = plane.patch(1.05)
        land, phi, inward = plane.land_colour(picture), patch.phi, 1.0 - patch.rho
        for angle, width, length, level, waves in zip(
            angles, widths, lengths, lit, teeth, strict=True
        ):
            away = np.angle(np.exp(1j * (phi - angle)))
            reach = length * np.exp(-((away / width) ** 4)) * (1.0 + 0.3 * np.sin(waves * phi))
            cover = patch.cover((reach - inward).astype(np.float32)) * patch.cover(inward)
            patch.lay(picture, cover * (np.abs(away) < 2.0 * width), level * land)

    return paint


def smeared_film(rng: Rng) -> Paint:
    """Return a thin film of plastic, streaked, hazy, over part of land and rim."""
    colour = rng.uniform(0.15, 1.0, 3)
    level, thickest = rng.uniform(0.35, 1.1), rng.uniform(0.25, 0.6)
    angle, start = rng.uniform(-math.pi, math.pi), rng.uniform(-0.9, 0.4)
    streaks = (rng.uniform(0.5, 1.5), rng.uniform(0.08, 0.25))
    noise = np.random.default_rng(int(rng.integers(2**31)))

    def paint(picture: FloatArray, plane: Plane) -> None:
        patch, scale = plane.patch(3.0), plane.radius_px
        land = plane.land_colour(picture)
        along = math.cos(angle) * patch.x + math.sin(angle) * patch.y
        cells = (streaks[0] * scale, streaks[1] * scale)
        rough = streaky_noise(patch.shape, cells, noise)
        edge = 0.25 * smooth_noise(patch.shape, 0.4 * scale, noise)
        film = np.clip((along - start + edge) / 0.15, 0.0, 1.0)
        cover = np.clip(thickest * film * (0.75 + 0.3 * rough), 0.0, 0.65).astype(np.float32)
        tint = (colour / colour.mean() * level * land.mean()).astype(np.float32)
        patch.lay(picture, cover, tint)

    return paint


def insert_seams(rng: Rng) -> Paint:
    """Return one to three further circles round the bore: a pressed-in insert, steps, rings."""
    count = int(rng.integers(1, 4))
    radii = np.cumsum(np.r_[rng.uniform(1.22, 1.5), rng.uniform(0.2, 0.6, count - 1)])
    places = [tuple(rng.normal(0.0, 0.025, 2)) for _ in radii]
    widths, depths = rng.uniform(0.02, 0.09, count), rng.uniform(0.4, 0.92, count)
    gains = rng.uniform(0.55, 1.35, count)
    bright = rng.random(count) < 0.25

    def paint(picture: FloatArray, plane: Plane) -> None:
        patch = plane.patch(float(radii[-1]) + 0.3)
        land = plane.land_colour(picture)
        for radius, place, width, depth, gain, shines in zip(
            radii, places, widths, depths, gains, bright, strict=True
        ):
            from_seam = radius - patch.rho_about((float(place[0]), float(place[1])))
            patch.dim(picture, 1.0 + np.float32(gain - 1.0) * patch.cover(from_seam))
            line = patch.cover(0.5 * width - np.abs(from_seam)) * np.float32(depth)
            patch.lay(picture, line, land * np.float32(2.5 if shines else 0.06))

    return paint


def rim_scratches(rng: Rng) -> Paint:
    """Return scratches over the land that run up to the rim and past it."""
    count = int(rng.integers(4, 15))
    angles, misses = rng.uniform(-math.pi, math.pi, count), rng.uniform(-1.25, 1.25, count)
    ends = np.sort(rng.uniform(-2.6, 2.6, (count, 2)), axis=1)
    widths_px, depths = rng.uniform(0.6, 2.2, count), rng.uniform(0.3, 0.9, count)
    lit = np.where(rng.random(count) < 0.5, rng.uniform(1.6, 4.0, count), 0.15)

    def paint(picture: FloatArray, plane: Plane) -> None:
        patch = plane.patch(2.7)
        land, metal = plane.land_colour(picture), patch.cover(patch.rho - 1.0)
        for angle, miss, (start, end), width, depth, level in zip(
            angles, misses, ends, widths_px, depths, lit, strict=True
        ):
            along = math.cos(angle) * patch.x + math.sin(angle) * patch.y
            across = np.abs(math.cos(angle) * patch.y - math.sin(angle) * patch.x - miss)
            line = patch.cover(0.5 * width / plane.radius_px - across)
            line *= patch.cover(along - start) * patch.cover(end - along) * metal
            patch.lay(picture, line * np.float32(depth), land * np.float32(level))

    return paint


def lit_wall(rng: Rng) -> Paint:
    """Return a crescent of the bore's wall, lit, next to the rim on one side."""
    angle = rng.uniform(-math.pi, math.pi)
    shift = rng.uniform(0.12, 0.4)
    inset = rng.uniform(-0.05, 0.05)
    level, fall = rng.uniform(0.3, 0.7), rng.uniform(0.0, 0.6)
    noise = np.random.default_rng(int(rng.integers(2**31)))

    def paint(picture: FloatArray, plane: Plane) -> None:
        patch = plane.patch(1.05)
        land = plane.land_colour(picture)
        opening = (-shift * math.cos(angle), -shift * math.sin(angle))
        # From the far opening (0) to the rim (1).
        beyond = patch.rho_about(opening) - np.float32(1.0 - inset)
        depth = np.clip(beyond / np.float32(shift + 0.05), 0.0, 1.0)
        marks = 1.0 + 0.12 * smooth_noise(patch.shape, 0.2 * plane.radius_px, noise)
        cover = patch.cover(beyond) * patch.cover(1.0 - patch.rho)
        lit = (level * (1.0 - fall * (1.0 - depth)) * marks).astype(np.float32)
        patch.lay(picture, cover, lit[..., None] * land)

    return paint


def lit_edge_break(rng: Rng) -> Paint:
    """Return a broken edge round the rim, bright on one side and dark on the other.

    The rim is its inner end; what the eye meets first is the inner end on the bright side and
    the outer end on the dark one.
    """
    angle, width = rng.uniform(-math.pi, math.pi), rng.uniform(0.03, 0.09)
    darkest, brightest = rng.uniform(0.2, 0.5), rng.uniform(0.8, 2.0)
    power = rng.uniform(0.7, 2.5)

    def paint(picture: FloatArray, plane: Plane) -> None:
        patch = plane.patch(1.2)
        land, rho = plane.land_colour(picture), patch.rho
        facing = (0.5 + 0.5 * np.cos(patch.phi - angle)) ** power
        lit = (darkest + (brightest - darkest) * facing).astype(np.float32)
        cover = patch.cover(rho - 1.0) * patch.cover(np.float32(1.0 + width) - rho)
        patch.lay(picture, cover, lit[..., None] * land)

    return paint


def blob(rng: Rng, *, smallest: float, largest: float) -> Paint:
    """Return a lump of plastic over the bore, wavy and off its centre, domed and glinting.

    Every part of the rim lies under it if `smallest` is above 1.3.
    """
    half = rng.uniform(smallest, largest)
    colour = rng.uniform(0.02, 1.0, 3) * rng.uniform(0.3, 1.4)
    orders = (2, 3, 5, 7)
    heights = rng.uniform(0.3, 1.0, 4) * np.array([0.12, 0.08, 0.05, 0.025])
    phases = rng.uniform(0.0, 2.0 * math.pi, 4)
    place = rng.normal(0.0, 0.05, 2)
    lean = rng.normal(0.0, 0.35, 2)
    lamps = rng.uniform(-0.6, 0.6, (int(rng.integers(2, 9)), 2))

    def paint(picture: FloatArray, plane: Plane) -> None:
        patch = plane.patch(1.4 * half)
        land = float(plane.land_colour(picture).mean())
        out = patch.rho_about((float(place[0]), float(place[1]))) / np.float32(half)
        phi = patch.phi
        wave = sum(h * np.cos(k * phi + p) for k, h, p in zip(orders, heights, phases, strict=True))
        out = (out * (1.0 + wave)).astype(np.float32)
        patch.dim(picture, 1.0 - 0.5 * np.exp(-np.clip(out - 1.0, 0.0, None) / 0.08))
        patch.lay(picture, patch.cover((1.0 - out) * np.float32(half)), _domed(patch, out, land))

    def _domed(patch: Patch, out: FloatArray, land: float) -> FloatArray:
        x, y = patch.x / np.float32(half), patch.y / np.float32(half)
        matt = np.clip(0.45 + 0.55 * np.sqrt(np.clip(1.0 - out**2, 0.0, 1.0)), 0.0, 1.0)
        matt = np.clip(matt + lean[0] * x + lean[1] * y, 0.1, None)
        glint = np.zeros(patch.shape, dtype=np.float32)
        for u, v in lamps:
            glint += np.exp(-((x - np.float32(u)) ** 2 + (y - np.float32(v)) ** 2) / 0.004)
        lit = land * (matt[..., None] * colour + 3.0 * glint[..., None])
        return np.asarray(lit, dtype=np.float32)

    return paint
