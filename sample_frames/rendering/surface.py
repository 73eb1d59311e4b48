"""Height maps of machined metal: turning marks, scratches, dents and grain."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Map = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finish:
    """How the land was machined and used.

    Attributes
    ----------
    pitch_um, groove_um
        Feed of the lathe and depth of the groove it left.
    scratches
        Number of straight scratches across the land.
    grain_um
        Height of the fine isotropic grain, one standard deviation.
    dents
        Number of small dents.
    crown_mrad
        Slope that the land has at 0.5 mm from its middle, where it is not quite flat.
    dirt
        Share of the cone that old plastic has stained, 0 to 1.
    """

    pitch_um: float = 42.0
    groove_um: float = 1.0
    scratches: int = 14
    grain_um: float = 0.05
    dents: int = 10
    crown_mrad: float = 40.0
    dirt: float = 0.1


def land_heights_mm(finish: Finish, *, texture_mm: float, size: int, seed: int) -> Map:
    """Return heights over a square of `texture_mm`, shape (size, size)."""
    rng = np.random.default_rng(seed)
    axis = (np.arange(size) + 0.5) / size * texture_mm - texture_mm / 2.0
    x, y = np.meshgrid(axis, axis)
    # The land is faced with the tip in the chuck, nearly but not quite on the axis.
    off = rng.normal(0.0, 0.004, 2)
    radius, angle = np.hypot(x - off[0], y - off[1]), np.arctan2(y - off[1], x - off[0])
    heights = _grooves_um(finish, radius * 1e3, angle, rng)
    heights += finish.crown_mrad * radius**2
    heights += _grain_um(finish.grain_um, size, rng)
    heights += _scratches_um(finish.scratches, size, texture_mm, rng)
    heights += _dents_um(finish.dents, size, texture_mm, rng)
    return np.asarray(heights * 1e-3, dtype=np.float32)


def cone_heights_mm(finish: Finish, *, shape: tuple[int, int], seed: int) -> Map:
    """Return heights over the cone, rows up the slope and columns round the axis."""
    rng = np.random.default_rng(seed + 1)
    rows, columns = shape
    along_um = np.linspace(0.0, 3400.0, rows)[:, None] * np.ones((1, columns))
    around = np.linspace(-np.pi, np.pi, columns)[None, :] * np.ones((rows, 1))
    coarse = Finish(pitch_um=1.6 * finish.pitch_um, groove_um=1.5 * finish.groove_um)
    heights = _grooves_um(coarse, along_um, around, rng)
    heights += 2.0 * _noise((rows, columns), 3.0, rng) * finish.grain_um
    return np.asarray(heights * 1e-3, dtype=np.float32)


def dirt_map(share: float, *, shape: tuple[int, int], seed: int) -> Map:
    """Return how much of each spot is covered by burnt residue, 0 to 1."""
    rng = np.random.default_rng(seed + 2)
    field = (
        _noise(shape, 60.0, rng) + 0.6 * _noise(shape, 14.0, rng) + 0.3 * _noise(shape, 3.0, rng)
    )
    level = np.quantile(field, 1.0 - np.clip(share, 0.001, 0.999))
    cover = 0.9 / (1.0 + np.exp(-(field - level) / 0.3))
    # A thin film of smoke lies on all of it.
    film = 0.12 + 0.06 * _noise(shape, 40.0, rng)
    return np.asarray(np.clip(np.maximum(cover, film), 0.0, 1.0), dtype=np.float32)


def film_map(share: float, *, heading_deg: float, size: int, seed: int) -> Map:
    """Return how much of each spot is under plastic that was wiped along, 0 to 1."""
    rng = np.random.default_rng(seed + 3)
    # Half as large again, so that no corner is empty once the streaks are turned.
    wide = 3 * size // 2
    streaks = cv2.GaussianBlur(rng.normal(0.0, 1.0, (wide, wide)), (0, 0), 40.0, sigmaY=5.0)
    blots = cv2.GaussianBlur(rng.normal(0.0, 1.0, (wide, wide)), (0, 0), 25.0)
    field = streaks / streaks.std() + 0.8 * blots / blots.std()
    turn = cv2.getRotationMatrix2D((wide / 2.0, wide / 2.0), heading_deg, 1.0)
    first = (wide - size) // 2
    field = cv2.warpAffine(field, turn, (wide, wide))[first : first + size, first : first + size]
    level = np.quantile(field, 1.0 - np.clip(share, 0.001, 0.999))
    return np.asarray(0.95 / (1.0 + np.exp(-(field - level) / 0.25)), dtype=np.float32)


def _grooves_um(finish: Finish, radius_um: Array, angle: Array, rng: np.random.Generator) -> Array:
    """Return the scallops of a round-nosed tool on a spiral, uneven from turn to turn."""
    wobble = 0.12 * np.cos(angle + rng.uniform(0, 6)) + 0.08 * np.cos(2 * angle + rng.uniform(0, 6))
    turn = radius_um / finish.pitch_um - angle / (2.0 * np.pi) + wobble
    number = np.clip(np.floor(turn).astype(int) + 2, 0, 4095)
    depth = finish.groove_um * rng.lognormal(0.0, 0.45, 4096)[number]
    lift = 0.3 * finish.groove_um * rng.normal(0.0, 1.0, 4096)
    within = turn - np.floor(turn)
    step = lift[number] + (lift[np.minimum(number + 1, 4095)] - lift[number]) * within
    chatter = 1.0 + 0.15 * np.cos(23.0 * angle + 0.8 * number)
    # Skewed, as the tool's trailing edge rubs: one flank is wider than the other.
    skewed = within ** rng.uniform(0.6, 0.8)
    return np.asarray(depth * chatter * (2.0 * skewed - 1.0) ** 2 + step)


def _noise(shape: tuple[int, int], correlation_px: float, rng: np.random.Generator) -> Array:
    """Return smooth Gaussian noise of unit standard deviation that repeats at its borders."""
    scale = max(1, round(correlation_px / 3.0))
    small = rng.normal(0.0, 1.0, (shape[0] // scale, shape[1] // scale))
    margin = 16
    wrapped = np.pad(small, margin, mode="wrap")
    blurred = cv2.GaussianBlur(wrapped, (0, 0), correlation_px / scale)
    large = cv2.resize(blurred, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
    field = np.zeros(shape)
    part = large[margin * scale :, margin * scale :][: shape[0], : shape[1]]
    field[: part.shape[0], : part.shape[1]] = part
    return np.asarray(field / field.std())


def _octaves(
    shape: tuple[int, int], parts: tuple[tuple[float, float], ...], rng: np.random.Generator
) -> Array:
    """Return the sum of noises, given as (weight, correlation in px)."""
    total = np.zeros(shape)
    for weight, correlation_px in parts:
        total += weight * _noise(shape, correlation_px, rng)
    return total


def _grain_um(grain_um: float, size: int, rng: np.random.Generator) -> Array:
    square = (size, size)
    mixed = (
        _noise(square, 2.5, rng) + 1.6 * _noise(square, 7.0, rng) + 4.0 * _noise(square, 45.0, rng)
    )
    return np.asarray(grain_um * mixed)


def _scratches_um(count: int, size: int, texture_mm: float, rng: np.random.Generator) -> Array:
    picture = np.zeros((size, size), np.float32)
    px_per_mm = size / texture_mm
    main = rng.uniform(0.0, np.pi)
    for _ in range(count):
        start = size / 2.0 + rng.normal(0.0, 0.28 * px_per_mm, 2)
        heading = main + rng.normal(0.0, 0.5)
        reach = rng.uniform(0.1, 0.7) * px_per_mm
        bend = rng.normal(0.0, 0.08)
        share = np.linspace(-0.5, 0.5, 20)
        line = start + reach * np.stack(
            [
                share * np.cos(heading) - bend * share**2 * np.sin(heading),
                share * np.sin(heading) + bend * share**2 * np.cos(heading),
            ],
            axis=1,
        )
        one = np.zeros_like(picture)
        thick = int(rng.integers(1, 5))
        cv2.polylines(
            one, [np.round(line * 16).astype(np.int32)], False, 1.0, thick, cv2.LINE_AA, 4
        )
        picture -= float(rng.uniform(0.15, 0.8)) * cv2.GaussianBlur(one, (0, 0), 1.5)
    return picture.astype(np.float64)


def _dents_um(count: int, size: int, texture_mm: float, rng: np.random.Generator) -> Array:
    picture = np.zeros((size, size))
    rows, columns = np.mgrid[0:size, 0:size]
    for _ in range(count):
        middle = size / 2.0 + rng.normal(0.0, 0.3 * size / texture_mm, 2)
        width = rng.uniform(0.004, 0.016) * size / texture_mm
        low, high = np.maximum(middle - 4 * width, 0).astype(int), (middle + 4 * width).astype(int)
        window = np.s_[low[0] : high[0], low[1] : high[1]]
        square = (rows[window] - middle[0]) ** 2 + (columns[window] - middle[1]) ** 2
        picture[window] -= rng.uniform(0.5, 2.0) * np.exp(-square / (2 * width**2))
    return picture
