"""The static part of a tip: everything that no light and no move changes.

Two layers are made once. The *near* layer holds bore, bevel, land and the
collar of the cone round it, sharp, at the pixel size of the picture. The *far*
layer holds the cone, which runs out of focus anyway, and is coarse, so that
its cost hardly grows with the picture. Both have the centre of the rim circle
in the middle of their middle texel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.synthesis.checks import require_positive
from vision.synthesis.drop import DropTexture, drop_reach_mm, prepare_drop
from vision.synthesis.light import ANGLES, Facet
from vision.synthesis.tip import Tip

FloatArray = NDArray[np.float32]

COLLAR_MM = 0.24
"""How far the sharp layer reaches beyond the land, fading out."""

_FAR_TEXEL_MM = 0.016
_BACKGROUND_TEXEL_MM = 0.10
_BACKGROUND_TEXELS = 128


def near_facets(tip: Tip) -> tuple[Facet, ...]:
    """Return the rings of metal from the rim outwards: bevel, land, its edge, cone."""
    rim, land = 0.5 * tip.bore_mm, 0.5 * tip.land_mm
    across = 0.05 + 0.13 * tip.turning_marks
    return (
        _facet(rim, -0.50, 0.26, 0.14, 1.30, 0.12),
        _facet(0.5 * (rim + land), 0.0, across, 0.034, 1.60, 0.30),
        _facet(land, 0.22, 0.20, 0.04, 2.2, 0.18),
        _facet(land + 0.15, 0.70, 0.36, 0.026, 5.5, 0.09),
    )


def far_facets(tip: Tip) -> tuple[Facet, ...]:
    """Return the cone from the land's edge to where it ends."""
    land, cone = 0.5 * tip.land_mm, 0.5 * tip.cone_mm
    return (
        _facet(land + 0.15, 0.70, 0.36, 0.026, 5.5, 0.09),
        _facet(0.6 * land + 0.4 * cone, 0.70, 0.34, 0.020, 8.0, 0.07),
        _facet(cone, 0.75, 0.34, 0.017, 9.0, 0.04),
    )


def _facet(
    radius_mm: float, slope: float, across: float, along: float, shine: float, diffuse: float
) -> Facet:
    return Facet(
        radius_mm=radius_mm,
        slope=slope,
        rough_across=across,
        rough_along=along,
        shine=shine,
        diffuse=diffuse,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """One layer of a tip as square pictures, read-only.

    Attributes
    ----------
    texel_mm
        Side of a texel.
    tint
        Shape (3, n, n): linear BGR colour of the metal times `alpha`; in planes,
        which multiply several times faster.
    alpha
        Shape (n, n): how much the layer hides what lies behind it.
    gain
        Shape (n, n): local factor on the brightness.
    groove
        Shape (n, n): local slope of the turning marks away from the axis.
    column, row
        Shape (n, n): where to look a texel up in the polar tables of light.
    """

    texel_mm: float
    tint: FloatArray
    alpha: FloatArray
    gain: FloatArray
    groove: FloatArray
    column: FloatArray
    row: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class TipTexture:
    """A tip made ready for rendering; immutable, to be shared between threads.

    Attributes
    ----------
    tip
        What it was made from.
    reach_mm
        The near layer is empty beyond this distance from the bore's centre.
    near, far
        Sharp and coarse layer.
    bore
        Shape (n, n): share of each near texel that lies inside the rim.
    bore_depth_mm
        Shape (m, m): distance inwards from the rim; m x m is the middle patch of the
        near layer that holds the bore.
    polish
        Shape (n, n): how well each near texel mirrors the lamps.
    mottle
        Shape (m, m): faint structure of what is seen in the bore.
    drop
        The blob of plastic, or None.
    background
        Shape (k, k, 3): the machine's underside, far out of focus.
    background_texel_mm
        Side of its texels.
    """

    tip: Tip
    reach_mm: float
    near: Layer
    far: Layer
    bore: FloatArray
    bore_depth_mm: FloatArray
    polish: FloatArray
    mottle: FloatArray
    drop: DropTexture | None
    background: FloatArray
    background_texel_mm: float


def prepare_tip(tip: Tip, *, um_per_px: float) -> TipTexture:
    """Return the static texture of a tip.

    Parameters
    ----------
    tip
        The tip.
    um_per_px
        Size of the picture's pixels in the plane of the tip, 0.5 to 100 um; the sharp
        layer has texels of this size.
    """
    require_positive("um_per_px", um_per_px)
    if not 0.5 <= um_per_px <= 100.0:
        raise ValueError(f"um_per_px must lie between 0.5 and 100, got {um_per_px!r}")
    texel_mm = 1e-3 * um_per_px
    grid = _Grid.spanning(_near_half_mm(tip) + 4.0 * texel_mm, texel_mm)
    # One stream for each part: a change in one leaves the others as they are.
    streams = np.random.default_rng(tip.seed).spawn(6)
    bore_depth = _rim_depth(tip, grid, streams[0])
    bore = _cover(bore_depth, texel_mm)
    near, polish = _near_layer(tip, grid, bore, streams[1])
    patch = _middle(bore, _patch_half(tip, texel_mm))
    return TipTexture(
        tip=tip,
        reach_mm=_near_half_mm(tip),
        near=near,
        far=_far_layer(tip, streams[2]),
        bore=_frozen(bore),
        bore_depth_mm=_frozen(bore_depth[patch]),
        polish=_frozen(polish),
        mottle=_frozen(
            1.0 + 0.36 * tip.grain * _smooth_noise(bore[patch].shape, 0.04 / texel_mm, streams[3])
        ),
        drop=None if tip.drop is None else prepare_drop(tip, tip.drop, texel_mm, streams[4]),
        background=_frozen(_background(streams[5])),
        background_texel_mm=_BACKGROUND_TEXEL_MM,
    )


def middle_patch(texture: TipTexture) -> tuple[slice, slice]:
    """Return the part of the near layer in which the bore lies."""
    return _middle(texture.bore, texture.bore_depth_mm.shape[0] // 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Grid:
    """Square grid of texels with the bore's centre in the middle one."""

    texel_mm: float
    x: FloatArray
    y: FloatArray

    @classmethod
    def spanning(cls, half_mm: float, texel_mm: float) -> _Grid:
        count = math.ceil(half_mm / texel_mm)
        axis = (np.arange(-count, count + 1) * texel_mm).astype(np.float32)
        return cls(texel_mm=texel_mm, x=axis[None, :], y=axis[:, None])

    @property
    def shape(self) -> tuple[int, int]:
        return self.y.shape[0], self.x.shape[1]

    def radius_about(self, centre: tuple[float, float]) -> FloatArray:
        out: FloatArray = np.hypot(self.x - np.float32(centre[0]), self.y - np.float32(centre[1]))
        return out

    def angle_about(self, centre: tuple[float, float]) -> FloatArray:
        out: FloatArray = np.arctan2(
            self.y - np.float32(centre[1]), self.x - np.float32(centre[0])
        ).astype(np.float32)
        return out


def _near_half_mm(tip: Tip) -> float:
    land = 0.5 * tip.land_mm + math.hypot(*tip.eccentricity_mm)
    reach = 0.0 if tip.drop is None else drop_reach_mm(tip, tip.drop)
    return max(land + COLLAR_MM, reach)


def _patch_half(tip: Tip, texel_mm: float) -> int:
    return math.ceil(tip.semi_axes_mm[0] / texel_mm) + 2


def _middle(picture: FloatArray, half: int) -> tuple[slice, slice]:
    middle = picture.shape[0] // 2
    part = slice(middle - half, middle + half + 1)
    return part, part


def _frozen(array: NDArray[np.floating]) -> FloatArray:
    out = np.ascontiguousarray(array, dtype=np.float32)
    out.setflags(write=False)
    return out


def _cover(depth_mm: FloatArray, texel_mm: float) -> FloatArray:
    """Return the share of each texel on the inner side of an edge."""
    out: FloatArray = np.clip(depth_mm / np.float32(texel_mm) + 0.5, 0.0, 1.0)
    return out


def _ellipse_depth(tip: Tip, grid: _Grid, widen_mm: float) -> FloatArray:
    """Return the distance inwards from the rim, made wider by `widen_mm`.

    To first order (Sampson's distance), which is exact on the rim itself.
    """
    a, b = (axis + widen_mm for axis in tip.semi_axes_mm)
    cos, sin = math.cos(tip.oval.angle_rad), math.sin(tip.oval.angle_rad)
    p, q = cos * grid.x + sin * grid.y, -sin * grid.x + cos * grid.y
    rho = np.hypot(p / a, q / b)
    slope = np.hypot(p / a**2, q / b**2) / np.maximum(rho, 1e-6)
    out: FloatArray = ((1.0 - rho) / np.maximum(slope, 0.5 / a)).astype(np.float32)
    return out


def _rim_depth(tip: Tip, grid: _Grid, rng: np.random.Generator) -> FloatArray:
    depth = _ellipse_depth(tip, grid, 0.0)
    if tip.burr_mm == 0.0:
        return depth
    phi = grid.angle_about((0.0, 0.0))
    away = np.angle(np.exp(1j * (phi - rng.uniform(0.0, 2.0 * np.pi))))
    width = rng.uniform(0.12, 0.25)
    ragged = 1.0 + 0.35 * np.sin(phi * rng.integers(17, 31)) * np.sin(7.0 * phi)
    sliver = tip.burr_mm * np.exp(-((away / width) ** 4)) * ragged
    out: FloatArray = (depth - sliver).astype(np.float32)
    return out


def _smooth_noise(shape: tuple[int, int], cell_px: float, rng: np.random.Generator) -> FloatArray:
    """Return noise of about unit variance with structures of `cell_px`."""
    cells = [max(3, math.ceil(side / max(cell_px, 1.0)) + 2) for side in shape]
    coarse = rng.standard_normal(cells).astype(np.float32)
    out: FloatArray = 1.3 * cv2.resize(coarse, shape[::-1], interpolation=cv2.INTER_CUBIC)
    return out


def _grooves(
    grid: _Grid, centre: tuple[float, float], pitch_mm: float, rng: np.random.Generator
) -> FloatArray:
    """Return the slope of the spiral that a turning tool leaves, about -1 to 1."""
    radius, phi = grid.radius_about(centre), grid.angle_about(centre)
    along = radius + np.float32(pitch_mm / (2.0 * np.pi)) * phi
    step = 0.25 * pitch_mm
    profile = rng.standard_normal(math.ceil(float(along.max()) / step) + 8)
    profile += np.repeat(rng.standard_normal(profile.size // 4 + 1), 4)[: profile.size]
    regular = np.sin(2.0 * np.pi * np.arange(profile.size) / 4.0)
    table = (0.35 * profile + 0.5 * regular).astype(np.float32)[None, :]
    place = (along + np.float32(pitch_mm)) / np.float32(step)
    worn = np.clip(0.75 + 0.35 * _smooth_noise(grid.shape, 0.15 / grid.texel_mm, rng), 0.1, 1.3)
    out: FloatArray = worn * cv2.remap(table, place, np.zeros_like(place), cv2.INTER_LINEAR)
    return out


def _scratches(grid: _Grid, tip: Tip, rng: np.random.Generator) -> FloatArray:
    """Return the scratches' strength, bright and dark ones, 0 where there is none."""
    picture = np.zeros(grid.shape, dtype=np.float32)
    middle = grid.shape[0] // 2
    for _ in range(tip.scratches):
        angle, bend = rng.uniform(0.0, 2.0 * np.pi), rng.normal(0.0, 0.25)
        start = rng.uniform(-0.5, 0.5, 2) * tip.land_mm
        length = rng.uniform(0.15, 0.7) * tip.land_mm
        t = np.linspace(0.0, 1.0, 9)[:, None]
        heading = np.stack([np.cos(angle + bend * t[:, 0]), np.sin(angle + bend * t[:, 0])], axis=1)
        path = (start + length * t * heading) / grid.texel_mm + middle
        line = np.zeros_like(picture)
        points = np.rint(path * 16.0).astype(np.int32).reshape(-1, 1, 2)
        cv2.polylines(line, [points], False, 1.0, 1, cv2.LINE_8, 4)
        soft = cv2.GaussianBlur(line, (0, 0), max(0.5, 0.003 / grid.texel_mm))
        picture += np.float32(rng.choice([-0.5, 0.9]) * rng.uniform(0.4, 1.0)) * soft
    return picture


def _near_layer(
    tip: Tip, grid: _Grid, bore: FloatArray, rng: np.random.Generator
) -> tuple[Layer, FloatArray]:
    """Return bevel, land and collar, and how well they mirror."""
    texel = grid.texel_mm
    centre = tip.eccentricity_mm
    radius = grid.radius_about(centre)
    land = 0.5 * tip.land_mm
    wobble = 0.007 * tip.grain * _smooth_noise(grid.shape, 0.20 / texel, rng)
    beyond = radius - land - wobble
    flat = _cover(-beyond, texel)
    bevel = _cover(_ellipse_depth(tip, grid, tip.edge_break_mm), texel)
    stain = _stains(grid, tip, beyond, rng)
    fine = _smooth_noise(grid.shape, 0.012 / texel, rng)
    cloud = _smooth_noise(grid.shape, 0.12 / texel, rng)
    scratch = _scratches(grid, tip, rng)
    gain = (1.0 + tip.grain * (0.07 * fine + 0.10 * cloud) + 0.55 * scratch * flat) * (1.0 - stain)
    gain *= 1.0 - 0.5 * np.exp(-((beyond / 0.012) ** 2))  # the land's edge is worn dark
    grooves = _grooves(grid, centre, 0.022, rng) * flat
    grooves += _grooves(grid, centre, 0.034, rng) * (1.0 - flat) * 1.3
    alpha = np.clip((COLLAR_MM - 0.02 - beyond) / (0.85 * COLLAR_MM), 0.0, 1.0)
    layer = Layer(
        texel_mm=texel,
        tint=_frozen(_metal(tip, flat, stain) * alpha),
        alpha=_frozen(alpha),
        gain=_frozen(gain),
        groove=_frozen(0.24 * tip.turning_marks * grooves * (1.0 - bevel)),
        column=_frozen(_columns(grid, centre)),
        row=_frozen(_near_rows(_share_of_metal(bevel, bore), beyond)),
    )
    speckle = np.clip(0.9 + 0.45 * _grooves(grid, centre, 0.018, rng) + 0.2 * fine, 0.05, None)
    return layer, (flat * (1.0 - bevel) * speckle * (1.0 - stain)).astype(np.float32)


def _share_of_metal(bevel: FloatArray, bore: FloatArray) -> FloatArray:
    """Return how much of the metal in each texel belongs to the bevel."""
    metal = np.maximum(1.0 - bore, 1e-3)
    out: FloatArray = np.clip((bevel - bore) / metal, 0.0, 1.0).astype(np.float32)
    return out


def _near_rows(bevel: FloatArray, beyond: FloatArray) -> FloatArray:
    """Bevel 0, land 1, its rounded edge 2, cone 3."""
    edge = np.clip((beyond + 0.03) / 0.03, 0.0, 1.0)
    cone = np.clip(beyond / 0.02, 0.0, 1.0)
    out: FloatArray = 1.0 - bevel + edge + cone
    return out


def _stains(grid: _Grid, tip: Tip, beyond: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Return how much of the light burnt residue takes away, 0 to 0.95."""
    noise = _smooth_noise(grid.shape, 0.16 / grid.texel_mm, rng)
    noise += 0.6 * _smooth_noise(grid.shape, 0.05 / grid.texel_mm, rng)
    noise += 0.3 * _smooth_noise(grid.shape, 0.018 / grid.texel_mm, rng)
    # Residue gathers behind the land's edge.
    near_edge = np.exp(-np.clip(beyond, 0.0, None) / 0.5)
    threshold = 2.3 - 1.4 * near_edge * np.clip((beyond + 0.04) / 0.10, 0.0, 1.0)
    spots = 1.0 / (1.0 + np.exp(-5.0 * (noise - threshold)))
    out: FloatArray = np.clip(1.4 * tip.stains * spots, 0.0, 0.95).astype(np.float32)
    return out


def _metal(tip: Tip, flat: FloatArray, stain: FloatArray) -> FloatArray:
    """Return the metal's colour, shape (3, n, n): land where flat, browner where burnt."""
    burnt = np.minimum(1.0, 2.0 * stain)
    planes = [
        (cone + (land - cone) * flat) * (1.0 - (1.0 - brown) * burnt)
        for land, cone, brown in zip(
            tip.land_albedo, tip.cone_albedo, (0.55, 0.75, 1.0), strict=True
        )
    ]
    return np.stack(planes).astype(np.float32)


def _columns(grid: _Grid, centre: tuple[float, float]) -> FloatArray:
    turn = np.float32(2.0 * np.pi)
    out: FloatArray = np.mod(grid.angle_about(centre), turn) * (np.float32(ANGLES) / turn)
    return out


def _far_layer(tip: Tip, rng: np.random.Generator) -> Layer:
    cone, land = 0.5 * tip.cone_mm, 0.5 * tip.land_mm
    grid = _Grid.spanning(cone + 0.15 + math.hypot(*tip.eccentricity_mm), _FAR_TEXEL_MM)
    radius = grid.radius_about(tip.eccentricity_mm)
    out_by = np.clip((radius - land) / (cone - land), 0.0, 1.0)
    stain = _stains(grid, tip, radius - land, rng)
    cloud = _smooth_noise(grid.shape, 0.25 / _FAR_TEXEL_MM, rng)
    alpha = np.clip((cone - radius) / 0.08 + 0.5, 0.0, 1.0)
    return Layer(
        texel_mm=_FAR_TEXEL_MM,
        tint=_frozen(_metal(tip, np.zeros_like(alpha), stain) * alpha),
        alpha=_frozen(alpha),
        gain=_frozen((1.0 + 0.14 * tip.grain * cloud) * (1.0 - stain) * (1.0 - 0.62 * out_by**0.8)),
        groove=_frozen(0.25 * tip.turning_marks * _grooves(grid, tip.eccentricity_mm, 0.07, rng)),
        column=_frozen(_columns(grid, tip.eccentricity_mm)),
        row=_frozen(2.0 * np.clip(out_by / 0.8, 0.0, 1.0)),
    )


def _background(rng: np.random.Generator) -> FloatArray:
    """Return the machine's underside: dark plates, a few edges, one dull gleam."""
    side = _BACKGROUND_TEXELS
    level = np.full((side, side), 0.016, dtype=np.float32)
    for _ in range(7):
        corner = rng.uniform(-0.1, 1.0, 2) * side
        extent = rng.uniform(0.15, 0.5, 2) * side
        box = cv2.boxPoints((tuple(corner), tuple(extent), float(rng.uniform(-12.0, 12.0))))
        cv2.fillPoly(level, [np.rint(box).astype(np.int32)], float(rng.uniform(0.004, 0.032)))
    level += 0.003 * _smooth_noise(level.shape, 6.0, rng)
    level = np.clip(cv2.GaussianBlur(level, (0, 0), 3.5), 0.002, None)
    tint = np.array([1.12, 1.0, 0.92], dtype=np.float32)
    out: FloatArray = level[..., None] * tint
    return out
