"""The rendered world: tip, lamps, machine and lens, as Mitsuba wants them.

Lengths are mm. A picture comes back as linear light, scaled by nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import mitsuba as mi
import numpy as np
from numpy.typing import NDArray

from rendering import shape, surface
from rendering.camera import Microscope
from rendering.shape import Mesh, Tip
from rendering.surface import Finish

Array = NDArray[np.float64]

BRASS = (0.89, 0.76, 0.45)
"""Reflectance of brass with some 37 % zinc at normal incidence (from memory)."""

HARDENED_STEEL = (0.20, 0.20, 0.21)
"""Steel under the dark oxide that hardening leaves (common practice, no source)."""

MOST_SAMPLES_AT_ONCE = 32


@dataclass(frozen=True, slots=True, kw_only=True)
class Plug:
    """Plastic in the bore, with its colour as linear red, green, blue.

    `ragged` says whether its surface follows the raggedness of the bore's edge.
    """

    colour: tuple[float, float, float]
    recess_mm: float = 0.03
    bulge_mm: float = 0.0
    gap_mm: float = 0.006
    ragged: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Drop:
    """A lump of plastic stuck to the tip, placed from the bore's centre."""

    colour: tuple[float, float, float]
    centre_mm: tuple[float, float, float]
    semi_axes_mm: tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Film:
    """Plastic that was wiped over the land, in streaks along `heading_deg`."""

    colour: tuple[float, float, float]
    share: float
    heading_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Detail:
    """How finely the surfaces are drawn, and how light is gathered into pixels.

    Attributes
    ----------
    land_mm, land_size
        Side of the square that the land's height map covers, and its side in texels.
    cone_shape
        Texels of the cone's height map, up the slope and round the axis.
    box_pixels
        Each path counts for the one pixel that it fell into, so that the renderer's noise
        is independent from pixel to pixel, and the paths of a pixel are spread evenly over
        it, lens and lamps. Otherwise neighbours share paths, smoothly.
    """

    land_mm: float = 2.6
    land_size: int = 2048
    cone_shape: tuple[int, int] = (1536, 2048)
    box_pixels: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """All that a picture shows.

    Attributes
    ----------
    tip_mm
        Where the middle of the land is in the world; None for an empty view.
    tip_tilt_deg, tip_tilt_towards_deg
        How far the nozzle leans.
    lamps
        Brightness of each of the lamps round the lens, from the first on.
    side_lamp
        Brightness of one more lamp beside the camera, and the direction it stands in.
    metal
        Share of red, green and blue light that the metal reflects.
    roughness
        Width of its microfacets (alpha).
    room
        Brightness of the workshop round the machine.
    room_seed
        Of the places of its windows; None takes `seed`.
    seed
        Of the tip's surface.
    """

    microscope: Microscope = field(default_factory=Microscope)
    tip: Tip = field(default_factory=Tip)
    finish: Finish = field(default_factory=Finish)
    tip_mm: tuple[float, float, float] | None = (0.0, 0.0, 0.0)
    tip_tilt_deg: float = 0.0
    tip_tilt_towards_deg: float = 0.0
    plug: Plug | None = None
    drops: tuple[Drop, ...] = ()
    film: Film | None = None
    lamps: tuple[float, ...] = (1.0,) * 8
    lamp_radius_mm: float = 1.1
    side_lamp: tuple[float, float] = (0.0, 0.0)
    metal: tuple[float, float, float] = BRASS
    roughness: float = 0.075
    room: float = 1.0
    room_seed: int | None = None
    detail: Detail = field(default_factory=Detail)
    seed: int = 1


def rendered(view: View, *, samples: int, seed: int) -> Array:
    """Return linear light, shape (height, width, 3), seen through the open lens."""
    scene = mi.load_dict(_scene(view, _lens(view)))
    # All paths of one pass are in memory at once.
    passes = -(-samples // MOST_SAMPLES_AT_ONCE)
    light = [
        np.array(mi.render(scene, spp=samples // passes, seed=seed + number), dtype=np.float64)
        for number in range(passes)
    ]
    return np.asarray(np.mean(light, axis=0))


def disc_centroid_px(view: View, *, scale: int = 6, samples: int = 16) -> Array | None:
    """Return the centroid (u, v) of the bore's disc alone, glowing, seen through a pinhole.

    The disc lies in the plane of the tip, has the bore's radius and is centred on its
    axis: a check on the projected centre that shares no formula with it. The picture
    is `scale` times finer than the frame. None when the disc is not wholly in view.
    """
    camera = view.microscope
    if view.tip_mm is None:
        return None
    centre = camera.project(np.asarray(view.tip_mm))[0] + 0.5
    reach = 1.2 * 1e3 * view.tip.bore_radius_mm / camera.um_per_px + 2.0
    low = np.floor(scale * (centre - reach)).astype(int)
    high = np.ceil(scale * (centre + reach)).astype(int)
    size = scale * np.asarray(camera.size_px)
    if np.any(low < 0) or np.any(high > size):
        return None
    sensor = _sensor_frame(camera, (int(size[0]), int(size[1]))) | {"type": "perspective"}
    sensor["film"] |= {
        "rfilter": {"type": "box"},
        "crop_offset_x": int(low[0]),
        "crop_offset_y": int(low[1]),
        "crop_width": int(high[0] - low[0]),
        "crop_height": int(high[1] - low[1]),
    }
    scene = mi.load_dict(
        {"type": "scene", "integrator": {"type": "direct"}, "sensor": sensor, "disc": _disc(view)}
    )
    mask = np.array(mi.render(scene, spp=samples, seed=7), dtype=np.float64)[..., 0]
    rows, columns = np.mgrid[0 : mask.shape[0], 0 : mask.shape[1]]
    fine = np.array([(mask * columns).sum(), (mask * rows).sum()]) / mask.sum()
    return np.asarray((fine + 0.5 + low) / scale - 0.5)


def _disc(view: View) -> dict[str, Any]:
    turn = shape.tilt_matrix(view.tip_tilt_deg, view.tip_tilt_towards_deg)
    pose = np.eye(4)
    pose[:3, :3] = turn * view.tip.bore_radius_mm
    pose[:3, 3] = np.asarray(view.tip_mm)
    facing_down = mi.ScalarTransform4f().rotate([1, 0, 0], 180)
    return {
        "type": "disk",
        "to_world": mi.ScalarTransform4f(pose) @ facing_down,
        "emitter": {"type": "area", "radiance": {"type": "rgb", "value": 1.0}},
    }


def _lens(view: View) -> dict[str, Any]:
    camera = view.microscope
    lens = _sensor_frame(camera, camera.size_px)
    if view.detail.box_pixels:
        lens["film"] |= {"rfilter": {"type": "box"}}
        lens["sampler"] = {"type": "multijitter"}
    return lens | {
        "type": "thinlens",
        "aperture_radius": camera.aperture_radius_mm,
        "focus_distance": camera.distance_mm,
    }


def _sensor_frame(camera: Microscope, size_px: tuple[int, int]) -> dict[str, Any]:
    # The renderer's camera has its first axis to the left and its second up.
    right, down, forward = camera.axes
    pose = np.eye(4)
    pose[:3, 0], pose[:3, 1], pose[:3, 2], pose[:3, 3] = -right, -down, forward, camera.lens_mm
    return {
        "to_world": mi.ScalarTransform4f(pose),
        "fov": camera.field_of_view_deg,
        "fov_axis": "x",
        "near_clip": 0.5,
        "film": {
            "type": "hdrfilm",
            "width": size_px[0],
            "height": size_px[1],
            "pixel_format": "rgb",
            "rfilter": {"type": "gaussian", "stddev": 0.55},
        },
        "sampler": {"type": "independent"},
    }


def _scene(view: View, sensor: dict[str, Any]) -> dict[str, Any]:
    scene: dict[str, Any] = {
        "type": "scene",
        "integrator": {"type": "path", "max_depth": 7},
        "sensor": sensor,
        "room": _room(view),
    }
    scene |= _lamps(view) | _underside(view)
    if view.tip_mm is not None:
        scene |= _nozzle(view)
    return scene


def _room(view: View) -> dict[str, Any]:
    """Return the workshop at the horizon, brighter towards its windows: the cone mirrors it."""
    rng = np.random.default_rng((view.seed if view.room_seed is None else view.room_seed) + 30)
    height = np.linspace(1.0, -1.0, 64)[:, None]
    around = np.linspace(0.0, 2.0 * np.pi, 128)[None, :]
    light = 0.05 + np.zeros((64, 128))
    for _ in range(4):
        middle, width = rng.uniform(0.0, 2.0 * np.pi), rng.uniform(0.25, 0.9)
        across = np.cos(around - middle) - 1.0
        light += rng.uniform(0.2, 1.3) * np.exp(across / width**2 - (height + 0.1) ** 2 / 0.25)
    sky = (view.room * light[..., None] * np.array([0.95, 1.0, 1.06])).astype(np.float32)
    upright = mi.ScalarTransform4f().rotate([1, 0, 0], 90)
    return {"type": "envmap", "bitmap": mi.Bitmap(sky), "to_world": upright}


def _lamps(view: View) -> dict[str, Any]:
    camera = view.microscope
    places = camera.lamp_places_mm(len(view.lamps))
    lamps = {
        f"lamp_{number}": _lamp(place, np.asarray(camera.aim_mm), view.lamp_radius_mm, 60.0 * power)
        for number, (place, power) in enumerate(zip(places, view.lamps, strict=True))
        if power > 0.0
    }
    power, towards = view.side_lamp
    if power > 0.0:
        angle = np.radians(towards)
        beside = np.array([22.0 * np.cos(angle), 22.0 * np.sin(angle), -16.0])
        place = np.asarray(camera.aim_mm) + beside
        lamps["lamp_side"] = _lamp(place, np.asarray(camera.aim_mm), 3.0, 40.0 * power)
    return lamps


def _lamp(place: Array, aim: Array, radius_mm: float, radiance: float) -> dict[str, Any]:
    pose = mi.ScalarTransform4f().look_at(origin=list(place), target=list(aim), up=[0.1, 1.0, 0.0])
    return {
        "type": "disk",
        "to_world": pose @ mi.ScalarTransform4f().scale(radius_mm),
        "emitter": {
            "type": "area",
            "radiance": {"type": "rgb", "value": [radiance, 0.98 * radiance, 0.95 * radiance]},
        },
    }


def _underside(view: View) -> dict[str, Any]:
    """Return the dark machine above the tip: a plate, far out of focus, and a heater block."""
    plate = mi.ScalarTransform4f().translate([0, 0, 14.0]) @ mi.ScalarTransform4f().rotate(
        [1, 0, 0], 180
    )
    parts: dict[str, Any] = {
        "plate": {
            "type": "rectangle",
            "to_world": plate @ mi.ScalarTransform4f().scale(60.0),
            "bsdf": _two_sided(_diffuse([0.03, 0.03, 0.033])),
        }
    }
    if view.tip_mm is not None:
        x, y, z = view.tip_mm
        block = mi.ScalarTransform4f().translate([x + 3.0, y, z + 9.0])
        parts["block"] = {
            "type": "cube",
            "to_world": block @ mi.ScalarTransform4f().scale([10.0, 8.0, 4.0]),
            "bsdf": _two_sided(_diffuse([0.16, 0.16, 0.17])),
        }
    return parts


def _nozzle(view: View) -> dict[str, Any]:
    tip, finish, detail = view.tip, view.finish, view.detail
    land_bump = surface.land_heights_mm(
        finish, texture_mm=detail.land_mm, size=detail.land_size, seed=view.seed
    )
    cone_bump = surface.cone_heights_mm(finish, shape=detail.cone_shape, seed=view.seed)
    cone_dirt = surface.dirt_map(finish.dirt, shape=detail.cone_shape, seed=view.seed + 20)
    parts = {
        "bore": (shape.bore_mesh(tip), _two_sided(_metal(view, 0.30))),
        "land": (
            shape.land_mesh(tip, texture_mm=detail.land_mm),
            _two_sided(_bumped(_land_surface(view), land_bump)),
        ),
        "cone": (
            shape.cone_mesh(tip),
            _two_sided(_bumped(_stained(_metal(view, 0.22), cone_dirt), cone_bump)),
        ),
        "hexagon": (
            shape.hexagon_mesh(
                shape.cone_top_mm(tip), across_mm=7.0, hole_mm=2.9, turn_deg=17.0 * view.seed
            ),
            _two_sided(_metal(view, 0.3)),
        ),
    }
    if view.plug is not None:
        plug = view.plug
        mesh = shape.plug_mesh(
            tip,
            recess_mm=plug.recess_mm,
            bulge_mm=plug.bulge_mm,
            gap_mm=plug.gap_mm,
            ragged=plug.ragged,
        )
        parts["plug"] = (mesh, _two_sided(_plastic(plug.colour)))
    for number, drop in enumerate(view.drops):
        mesh = shape.drop_mesh(drop.centre_mm, drop.semi_axes_mm, seed=view.seed + number)
        parts[f"drop_{number}"] = (mesh, _two_sided(_plastic(drop.colour)))
    return {name: _shape(view, mesh, bsdf) for name, (mesh, bsdf) in parts.items()}


def _land_surface(view: View) -> dict[str, Any]:
    size = view.detail.land_size // 2
    dirt = surface.dirt_map(0.25 * view.finish.dirt, shape=(size, size), seed=view.seed + 10)
    land = _stained(_metal(view, view.roughness), dirt)
    if view.film is None:
        return land
    film = view.film
    cover = surface.film_map(
        film.share, heading_deg=film.heading_deg, size=size, seed=view.seed + 40
    )
    return {
        "type": "blendbsdf",
        "weight": _texture(cover),
        "land": land,
        "film": _plastic(film.colour),
    }


def _shape(view: View, mesh: Mesh, bsdf: dict[str, Any]) -> mi.Mesh:
    there = shape.placed(
        mesh,
        shift_mm=np.asarray(view.tip_mm),
        tilt_deg=view.tip_tilt_deg,
        towards_deg=view.tip_tilt_towards_deg,
    )
    properties = mi.Properties()
    properties["bsdf"] = mi.load_dict(bsdf)
    has_normals = bool(np.any(mesh.normals))
    result = mi.Mesh(
        "part",
        vertex_count=len(there.points_mm),
        face_count=len(there.faces),
        has_vertex_normals=has_normals,
        has_vertex_texcoords=True,
        props=properties,
    )
    values = mi.traverse(result)
    values["vertex_positions"] = there.points_mm.astype(np.float32).ravel()
    values["faces"] = there.faces.ravel()
    values["vertex_texcoords"] = there.uv.astype(np.float32).ravel()
    if has_normals:
        values["vertex_normals"] = there.normals.astype(np.float32).ravel()
    values.update()
    return result


def _metal(view: View, roughness: float) -> dict[str, Any]:
    return {
        "type": "roughconductor",
        "material": "none",
        "distribution": "ggx",
        "alpha": roughness,
        "specular_reflectance": {"type": "rgb", "value": list(view.metal)},
    }


def _stained(metal: dict[str, Any], dirt: surface.Map) -> dict[str, Any]:
    return {
        "type": "blendbsdf",
        "weight": _texture(dirt),
        "clean": metal,
        "burnt": {
            "type": "roughplastic",
            "diffuse_reflectance": {"type": "rgb", "value": [0.09, 0.05, 0.025]},
            "alpha": 0.3,
        },
    }


def _bumped(bsdf: dict[str, Any], heights_mm: surface.Map) -> dict[str, Any]:
    return {"type": "bumpmap", "heights": _texture(heights_mm), "scale": 1.0, "bsdf": bsdf}


def _texture(values: surface.Map) -> dict[str, Any]:
    # The renderer's v runs up the picture, ours down the array.
    picture = np.ascontiguousarray(values[::-1, :, None])
    return {"type": "bitmap", "bitmap": mi.Bitmap(picture), "raw": True, "wrap_mode": "clamp"}


def _plastic(colour: tuple[float, float, float]) -> dict[str, Any]:
    return {
        "type": "roughplastic",
        "diffuse_reflectance": {"type": "rgb", "value": list(colour)},
        "alpha": 0.08,
        "nonlinear": True,
    }


def _diffuse(colour: list[float]) -> dict[str, Any]:
    return {"type": "diffuse", "reflectance": {"type": "rgb", "value": colour}}


def _two_sided(bsdf: dict[str, Any]) -> dict[str, Any]:
    return {"type": "twosided", "bsdf": bsdf}
