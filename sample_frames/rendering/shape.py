"""The tip as a solid of revolution, with what use has done to it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

AROUND = 720
"""Steps round the axis: at the widest bore one step is 3.5 um, below a pixel."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mesh:
    """Triangles with smooth normals and texture coordinates.

    Attributes
    ----------
    points_mm, normals
        Shape (N, 3).
    uv
        Shape (N, 2).
    faces
        Shape (M, 3), indices of points.
    """

    points_mm: Array
    normals: Array
    uv: Array
    faces: NDArray[np.uint32]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tip:
    """A nozzle tip; the axis is Z, the land lies in z = 0, the body is above.

    Attributes
    ----------
    bore_mm, land_mm
        Diameters of the bore and of the land.
    edge_break_mm
        Width (and height) of the broken edge between bore and land.
    bevelled
        A straight 45 degree bevel in place of a rounded edge.
    cone_deg
        Slope of the cone against the land.
    oval
        Half the difference of the bore's axes, in parts of their mean.
    ragged_um
        Roughness of the edge, one standard deviation.
    burr_mm, burr_at_deg, burr_width_deg
        How far a lip of pushed metal reaches into the bore, in which direction, and over
        how much of the rim. 0 mm is none.
    seed
        Of the edge's roughness.
    """

    bore_mm: float = 0.4
    land_mm: float = 1.0
    edge_break_mm: float = 0.015
    bevelled: bool = False
    cone_deg: float = 42.0
    oval: float = 0.0
    ragged_um: float = 1.0
    burr_mm: float = 0.0
    burr_at_deg: float = 0.0
    burr_width_deg: float = 40.0
    seed: int = 1

    @property
    def bore_radius_mm(self) -> float:
        """Radius of the bore's wall."""
        return self.bore_mm / 2.0


def bore_mesh(tip: Tip) -> Mesh:
    """Return the wall of the bore with its broken edge, and the wide hole behind it."""
    r, w = tip.bore_radius_mm, tip.edge_break_mm
    length = max(0.6, 2.0 * tip.bore_mm)
    wide = [(1.0, length + 1.2 + 2.0), (1.0, length + (1.0 - r) * 1.7)]
    wall = [(r, z) for z in np.linspace(length, 1.6 * w, 24)]
    if tip.bevelled:
        edge = [(r + w * t, w * (1.0 - t)) for t in np.linspace(0.0, 1.0, 12)]
    else:
        turns = np.linspace(0.0, np.pi / 2.0, 16)
        edge = [(r + w - w * np.cos(t), w - w * np.sin(t)) for t in turns]
    return _revolve(tip, np.array([*wide, *wall, *edge]), planar=None)


def land_mesh(tip: Tip, *, texture_mm: float) -> Mesh:
    """Return the flat land and its rounded outer corner; uv lies flat over `texture_mm`."""
    inner, outer, corner = tip.bore_radius_mm + tip.edge_break_mm, tip.land_mm / 2.0, 0.02
    flat = [(r, 0.0) for r in np.linspace(inner, outer - corner, 40)]
    slope = np.radians(tip.cone_deg)
    turns = np.linspace(0.0, slope, 8)[1:]
    rounded = [(outer - corner + corner * np.sin(t), corner - corner * np.cos(t)) for t in turns]
    return _revolve(tip, np.array([*flat, *rounded]), planar=texture_mm)


def cone_mesh(tip: Tip, *, widest_mm: float = 2.9) -> Mesh:
    """Return the cone; uv runs round the axis and up the slope."""
    slope, corner = np.radians(tip.cone_deg), 0.02
    start_r = tip.land_mm / 2.0 - corner + corner * np.sin(slope)
    start_z = corner - corner * np.cos(slope)
    radii = np.linspace(start_r, widest_mm, 60)
    heights = start_z + (radii - start_r) * np.tan(slope)
    return _revolve(tip, np.stack([radii, heights], axis=1), planar=None)


def cone_top_mm(tip: Tip, *, widest_mm: float = 2.9) -> float:
    """Return the height at which the cone ends and the hexagon begins."""
    return float((widest_mm - tip.land_mm / 2.0) * np.tan(np.radians(tip.cone_deg)))


def hexagon_mesh(z_mm: float, *, across_mm: float, hole_mm: float, turn_deg: float) -> Mesh:
    """Return the underside of the hexagon, a flat plate with a round hole, with its sides."""
    corners = np.radians(turn_deg + 60.0 * np.arange(7))
    reach = across_mm / np.sqrt(3.0)
    angles = np.linspace(corners[0], corners[-1], 361)
    within = (angles - corners[0]) % (np.pi / 3.0) - np.pi / 6.0
    outer = reach * np.cos(np.pi / 6.0) / np.cos(within)
    rings = [(hole_mm, 0.0), (1.0, 0.0), (1.0, 3.0)]
    grid = np.empty((len(rings), len(angles), 3))
    for row, (share, lift) in zip(grid, rings, strict=True):
        radius = outer if share == 1.0 else np.full_like(outer, share)
        row[:] = np.stack(
            [radius * np.cos(angles), radius * np.sin(angles), np.full_like(angles, z_mm + lift)],
            axis=1,
        )
    return _grid_mesh(grid, normals=None, uv=None)


def plug_mesh(
    tip: Tip, *, recess_mm: float, bulge_mm: float, gap_mm: float, ragged: bool = True
) -> Mesh:
    """Return plastic that stands in the bore: a meniscus with a thin gap to the wall.

    When `ragged`, all of it follows the raggedness of the bore's edge, the middle too.
    """
    radii = np.linspace(1e-4, tip.bore_radius_mm - gap_mm, 30)
    share = radii / radii[-1]
    heights = recess_mm - bulge_mm * (1.0 - share**2)
    rim = [(radii[-1], recess_mm + 0.3)]
    profile = np.array([*zip(radii, heights, strict=True), *rim])
    smooth = replace(tip, ragged_um=0.0, burr_mm=0.0)
    return _revolve(tip if ragged else smooth, profile, planar=None)


def drop_mesh(
    centre_mm: tuple[float, float, float], semi_axes_mm: tuple[float, float, float], *, seed: int
) -> Mesh:
    """Return a lump of plastic: an ellipsoid with dents."""
    rng = np.random.default_rng(seed)
    polar = np.linspace(0.001, np.pi - 0.001, 90)[:, None]
    around = np.linspace(0.0, 2.0 * np.pi, 181)[None, :]
    ball = np.stack(
        [
            np.sin(polar) * np.cos(around),
            np.sin(polar) * np.sin(around),
            np.cos(polar) * np.ones_like(around),
        ],
        axis=-1,
    )
    swell = np.ones(ball.shape[:2])
    for _ in range(7):
        swell += 0.07 * np.cos(ball @ rng.normal(0.0, 2.2, 3) + rng.uniform(0.0, 6.28))
    grid = np.asarray(centre_mm) + ball * swell[..., None] * np.asarray(semi_axes_mm)
    return _grid_mesh(grid, normals=_normals(grid), uv=None)


def placed(mesh: Mesh, *, shift_mm: Array, tilt_deg: float = 0.0, towards_deg: float = 0.0) -> Mesh:
    """Return the mesh tilted about the middle of the land, then carried to its place."""
    turn = tilt_matrix(tilt_deg, towards_deg)
    return Mesh(
        points_mm=mesh.points_mm @ turn.T + shift_mm,
        normals=mesh.normals @ turn.T,
        uv=mesh.uv,
        faces=mesh.faces,
    )


def tilt_matrix(tilt_deg: float, towards_deg: float) -> Array:
    """Return the rotation by `tilt_deg` that lifts the side towards `towards_deg`."""
    angle, towards = np.radians([tilt_deg, towards_deg])
    axis = np.array([np.sin(towards), -np.cos(towards), 0.0])
    cross = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    return np.asarray(np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross)


def _revolve(tip: Tip, profile_mm: Array, *, planar: float | None) -> Mesh:
    """Turn the profile (r, z) round the axis, with the bore's ovality and ragged edge."""
    around = np.linspace(0.0, 2.0 * np.pi, AROUND + 1)
    radius, height = profile_mm[:, :1], profile_mm[:, 1:]
    edge_mm = tip.bore_radius_mm + tip.edge_break_mm
    near_edge = np.exp(-np.maximum(radius - edge_mm, 0.0) / 0.02)
    near_bore = np.clip((tip.land_mm / 2.0 - radius) / (tip.land_mm / 2.0 - edge_mm), 0.0, 1.0)
    ragged = 1e-3 * tip.ragged_um * _edge_noise(around, tip.seed)
    radius = radius * (1.0 + tip.oval * near_bore * np.cos(2.0 * around - 0.6))
    radius = radius + near_edge * (height < 0.2) * ragged
    if tip.burr_mm > 0.0:
        radius, height = _burred(tip, radius, height, around)
    grid = np.stack(
        [
            radius * np.cos(around),
            radius * np.sin(around),
            np.broadcast_to(height, radius.shape),
        ],
        axis=-1,
    )
    if planar is not None:
        uv = grid[..., :2] / planar + 0.5
    else:
        along = np.linspace(0.0, 1.0, len(profile_mm))[:, None]
        uv = np.stack(np.broadcast_arrays(around / (2.0 * np.pi), along), axis=-1)
    return _grid_mesh(grid, normals=_normals(grid, closed=True), uv=uv)


def _burred(tip: Tip, radius: Array, height: Array, around: Array) -> tuple[Array, Array]:
    """Push the edge into the bore and down, along one part of the rim."""
    rng = np.random.default_rng(tip.seed + 5)
    away = (around - np.radians(tip.burr_at_deg) + np.pi) % (2.0 * np.pi) - np.pi
    share = np.clip(2.0 * np.abs(away) / np.radians(tip.burr_width_deg), 0.0, 1.0)
    orders = np.arange(3, 40)[:, None]
    waves = np.cos(orders * around + rng.uniform(0.0, 2.0 * np.pi, orders.shape)) / np.sqrt(orders)
    uneven = np.clip(1.0 + 0.35 * waves.sum(axis=0), 0.2, 1.8)
    reach = tip.burr_mm * np.cos(0.5 * np.pi * share) ** 2 * uneven
    edge_mm = tip.bore_radius_mm + tip.edge_break_mm
    # Nothing of it is left one edge break up the wall, nor well outside on the land.
    up = np.clip(1.0 - height / max(1.6 * tip.edge_break_mm, 0.02), 0.0, 1.0)
    out = np.exp(-np.maximum(radius - edge_mm, 0.0) / 0.008)
    return radius - reach * up * out, height - 0.5 * reach * up * out


def _edge_noise(around: Array, seed: int) -> Array:
    """Return a periodic noise of unit standard deviation.

    It has no first harmonic: that one would move the bore instead of roughening it.
    """
    rng = np.random.default_rng(seed)
    orders = np.arange(2, 90)
    weights = 1.0 / np.sqrt(4.0 + orders)
    waves = np.cos(orders[:, None] * around + rng.uniform(0.0, 2.0 * np.pi, (len(orders), 1)))
    noise = (weights[:, None] * waves).sum(axis=0)
    return np.asarray(noise / noise.std())


def _normals(grid: Array, *, closed: bool = False) -> Array:
    """Return unit normals of a grid of points, shape (P, Q, 3)."""
    down = np.gradient(grid, axis=0)
    if closed:
        across = np.roll(grid[:, :-1], -1, axis=1) - np.roll(grid[:, :-1], 1, axis=1)
        across = np.concatenate([across, across[:, :1]], axis=1)
    else:
        across = np.gradient(grid, axis=1)
    normals = np.cross(down, across)
    return np.asarray(normals / np.maximum(np.linalg.norm(normals, axis=-1, keepdims=True), 1e-12))


def _grid_mesh(grid: Array, *, normals: Array | None, uv: Array | None) -> Mesh:
    rows, columns = grid.shape[:2]
    index = np.arange(rows * columns, dtype=np.uint32).reshape(rows, columns)
    a, b, c, d = index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:]
    faces = np.concatenate(
        [np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)]
    )
    flat = np.zeros((rows, columns, 3)) if normals is None else normals
    plain = np.zeros((rows, columns, 2)) if uv is None else uv
    return Mesh(
        points_mm=grid.reshape(-1, 3),
        normals=flat.reshape(-1, 3),
        uv=np.asarray(plain).reshape(-1, 2),
        faces=faces,
    )
