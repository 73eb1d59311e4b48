"""One live picture of a tip, from its static texture.

The steps: light each layer in the tip's own axes, carry it into the picture,
blur it as far as it is out of focus, and lay the near layer over the far one.
The near layer costs only what the land takes up of the picture; the far layer
is made at half the resolution or less, as its blur allows.

Left out: the perspective of the lens. Tilt is orthographic, so a tilted rim is
an ellipse about the true centre. (A perspective picture of a 0.4 mm rim, tilted
by 4 degrees and 25 mm away, would have the ellipse's centre off by 0.1 um.)
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.geometry import PointPx
from vision.synthesis.bore_view import bore_light, glints
from vision.synthesis.checks import require_finite
from vision.synthesis.drop import lay_drop
from vision.synthesis.light import Light, Lighting, facet_table, lighting_at
from vision.synthesis.optics import (
    Optics,
    Window,
    blurred,
    dim,
    distort_point,
    picture_centre,
    undistorted_grid,
    vignette,
)
from vision.synthesis.texture import (
    Layer,
    TipTexture,
    far_facets,
    middle_patch,
    near_facets,
)

FloatArray = NDArray[np.float32]

# Pixels a sample of the far layer, to be chosen by its blur.
_FAR_STEPS = (2, 4, 5, 8)
# The cone runs away from the lens; its middle is about this far behind the tip.
_CONE_DEPTH_MM = 0.7
# The machine's underside is farther away, so it is seen smaller.
_BACKGROUND_SHARE = 0.6


@dataclass(frozen=True, slots=True, kw_only=True)
class _View:
    """Everything that says where the tip's points are shown."""

    size_px: tuple[int, int]
    centre_px: PointPx
    mm_from_px: NDArray[np.float64]
    px_per_mm: float
    defocus_mm: float
    optics: Optics


def render(
    texture: TipTexture,
    *,
    size_px: tuple[int, int],
    centre_px: PointPx,
    matrix_px_per_mm: NDArray[np.float64],
    defocus_mm: float,
    light: Light,
    optics: Optics,
    tilt_rad: tuple[float, float] = (0.0, 0.0),
) -> FloatArray:
    """Return what the lens throws on the sensor.

    Parameters
    ----------
    texture
        The tip, from `prepare_tip`.
    size_px
        Width and height.
    centre_px
        Where a lens without distortion shows the centre of the rim circle; the
        picture shows it at `distort_point(centre_px, optics, size_px)`. It may
        lie outside of the picture.
    matrix_px_per_mm
        Shape (2, 2): [[du/dX, du/dY], [dv/dX, dv/dY]]; rotation, skew, scale,
        mirroring.
    defocus_mm
        How far the tip's plane lies beyond the plane in focus, seen from the
        lens. The blur of tip and rim depends on its amount only; the cone
        behind comes into focus at negative values.
    light, optics
        Lamps and lens.
    tilt_rad
        Lean of the land's normal along X and Y.

    Returns
    -------
    array
        Shape (height, width, 3), float32, linear BGR; 1 is a well exposed
        white, highlights may exceed it.
    """
    view = _view(size_px, centre_px, matrix_px_per_mm, defocus_mm, optics, tilt_rad)
    lighting = _lighting(view, light, matrix_px_per_mm, tilt_rad)
    colour = np.array(light.colour, dtype=np.float32)
    picture = _far_picture(texture, view, lighting, light.ambient, colour)
    _lay_near(picture, texture, view, lighting, light, tilt_rad)
    return picture


def _view(
    size_px: tuple[int, int],
    centre_px: PointPx,
    matrix_px_per_mm: NDArray[np.float64],
    defocus_mm: float,
    optics: Optics,
    tilt_rad: tuple[float, float],
) -> _View:
    width, height = size_px
    if width < 1 or height < 1:
        raise ValueError(f"size_px must be two numbers of 1 or more, got {size_px!r}")
    require_finite("centre_px", *centre_px)
    require_finite("defocus_mm", defocus_mm)
    require_finite("tilt_rad", *tilt_rad)
    matrix = np.asarray(matrix_px_per_mm, dtype=np.float64)
    if matrix.shape != (2, 2) or not np.isfinite(matrix).all():
        raise ValueError(f"matrix_px_per_mm must be a finite 2x2 array, got {matrix_px_per_mm!r}")
    if np.linalg.cond(matrix) > 20.0:
        raise ValueError(f"matrix_px_per_mm must not be singular, got {matrix_px_per_mm!r}")
    if math.hypot(*tilt_rad) > 0.6:
        raise ValueError(f"tilt_rad must stay under 0.6, got {tilt_rad!r}")
    shown = matrix @ _foreshortening(tilt_rad)
    return _View(
        size_px=(int(width), int(height)),
        centre_px=centre_px,
        mm_from_px=_inverse(shown),
        px_per_mm=math.sqrt(abs(float(np.linalg.det(matrix)))),
        defocus_mm=float(defocus_mm),
        optics=optics,
    )


def _inverse(matrix: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.linalg.inv(matrix), dtype=np.float64)


def _foreshortening(tilt_rad: tuple[float, float]) -> NDArray[np.float64]:
    """Return the 2x2 map that shortens lengths along the tilt by its cosine."""
    amount = math.hypot(*tilt_rad)
    if amount == 0.0:
        return np.eye(2)
    along = np.array(tilt_rad) / amount
    return np.asarray(np.eye(2) - (1.0 - math.cos(amount)) * np.outer(along, along))


def _lighting(
    view: _View,
    light: Light,
    matrix_px_per_mm: NDArray[np.float64],
    tilt_rad: tuple[float, float],
) -> Lighting:
    middle = picture_centre(view.size_px)
    away = np.array([view.centre_px.u - middle.u, view.centre_px.v - middle.v])
    mm_from_px = _inverse(matrix_px_per_mm)
    return lighting_at(
        light, mm_from_px=mm_from_px, from_axis_mm=mm_from_px @ away, tilt_rad=tilt_rad
    )


def _lit(layer: Layer, table: FloatArray) -> FloatArray:
    """Return the brightness of each texel of a layer, shape (n, n)."""
    found = cv2.remap(table, layer.column, layer.row, cv2.INTER_LINEAR)
    bright, change = (np.asarray(plane, dtype=np.float32) for plane in cv2.split(found))
    out = bright + change * layer.groove
    out *= layer.gain
    np.maximum(out, 0.0, out=out)
    return out


def _bgra(layer: Layer, brightness: FloatArray, colour: FloatArray) -> FloatArray:
    """Return the layer as colour times alpha, and alpha: shape (n, n, 4)."""
    planes = [
        cv2.multiply(plane, brightness, scale=float(part))
        for plane, part in zip(layer.tint, colour, strict=True)
    ]
    return np.asarray(cv2.merge([*planes, layer.alpha]), dtype=np.float32)


def _texel_maps(
    window: Window, view: _View, texel_mm: float, middle: float
) -> tuple[FloatArray, FloatArray]:
    """Return, for each sample of the window, where to look in a layer."""
    du, dv = undistorted_grid(window, view.optics, view.size_px)
    centre = picture_centre(view.size_px)
    du = du - np.float32(view.centre_px.u - centre.u)
    dv = dv - np.float32(view.centre_px.v - centre.v)
    to_texel = (view.mm_from_px / texel_mm).astype(np.float32)
    x = to_texel[0, 0] * du + to_texel[0, 1] * dv
    y = to_texel[1, 0] * du + to_texel[1, 1] * dv
    x += np.float32(middle)
    y += np.float32(middle)
    return x, y


def _far_picture(
    texture: TipTexture,
    view: _View,
    lighting: Lighting,
    ambient: float,
    colour: FloatArray,
) -> FloatArray:
    """Return cone and background, shape (height, width, 3)."""
    width, height = view.size_px
    blur_px = view.optics.blur_px(view.defocus_mm + _CONE_DEPTH_MM, view.px_per_mm)
    # As coarse as the blur allows; steps that do not fit the picture cost a copy of it.
    fitting = [s for s in _FAR_STEPS if s <= 1.2 * blur_px and width % s == height % s == 0]
    step = max(fitting, default=_FAR_STEPS[0])
    # Samples in the middle of each block of pixels, as enlarging expects them.
    columns, rows = -(-width // step), -(-height // step)
    start = 0.5 * (step - 1)
    window = Window(left=start, top=start, step=step, width=columns, height=rows)
    back_texel = texture.background_texel_mm / _BACKGROUND_SHARE
    small = _looked_up(texture.background, window, view, back_texel, cv2.BORDER_REFLECT)
    layer = texture.far
    brightness = _lit(layer, facet_table(far_facets(texture.tip), lighting, ambient))
    cone = _looked_up(
        _bgra(layer, brightness, colour), window, view, layer.texel_mm, cv2.BORDER_CONSTANT
    )
    _lay_over(cone, small)
    dim(small, vignette(window, view.optics, view.size_px))
    small = blurred(small, blur_px / step)
    full = cv2.resize(small, (columns * step, rows * step), interpolation=cv2.INTER_LINEAR)
    return np.ascontiguousarray(full[:height, :width])


def _looked_up(
    picture: FloatArray, window: Window, view: _View, texel_mm: float, border: int
) -> FloatArray:
    x, y = _texel_maps(window, view, texel_mm, 0.5 * (picture.shape[0] - 1))
    out: FloatArray = cv2.remap(picture, x, y, cv2.INTER_LINEAR, borderMode=border).astype(
        np.float32, copy=False
    )
    return out


def _lay_over(front: FloatArray, back: FloatArray) -> None:
    """Lay a picture with alpha (premultiplied) over one without, in place."""
    dim(back, 1.0 - cv2.extractChannel(front, 3))
    cv2.add(back, cv2.cvtColor(front, cv2.COLOR_BGRA2BGR), dst=back)


def _lay_near(
    picture: FloatArray,
    texture: TipTexture,
    view: _View,
    lighting: Lighting,
    light: Light,
    tilt_rad: tuple[float, float],
) -> None:
    """Lay bore, land and collar over the picture, in place."""
    blur_px = _near_blur_px(texture, view)
    window = _near_window(texture, view, margin_px=3.5 * blur_px + 2.0)
    if window is None:
        return
    bgra = _near_bgra(texture, lighting, light, tilt_rad)
    layer = texture.near
    front = _looked_up(bgra, window, view, layer.texel_mm, cv2.BORDER_CONSTANT)
    front = blurred(front, blur_px)
    # Light is lost in the lens, so alpha keeps what it was.
    gain = vignette(window, view.optics, view.size_px)
    lost = cv2.merge([gain, gain, gain, np.ones_like(gain)])
    cv2.multiply(front, lost, dst=front)
    _lay_window(picture, front, window)


def _near_blur_px(texture: TipTexture, view: _View) -> float:
    """Return the blur still to be applied.

    The edges of the texture are already soft: the texel's box (variance 1/12 texel^2)
    and linear interpolation (1/6). Pixels have a box of their own (1/12 px^2), which
    stays.
    """
    wanted = view.optics.blur_px(view.defocus_mm, view.px_per_mm)
    texel_px = texture.near.texel_mm * view.px_per_mm
    return math.sqrt(max(wanted**2 - 0.25 * texel_px**2 + 1.0 / 12.0, 0.0))


def _near_window(texture: TipTexture, view: _View, margin_px: float) -> Window | None:
    """Return the rectangle that the near layer touches, or None.

    It reaches into what lies outside of the picture as far as the blur can carry light
    over the edge.
    """
    ring = _shown_ring(view, 1.01 * texture.reach_mm)
    beyond = math.ceil(margin_px)
    first = np.maximum(np.floor(ring.min(axis=1) - margin_px), -beyond)
    last = np.minimum(np.ceil(ring.max(axis=1) + margin_px), np.array(view.size_px) - 1.0 + beyond)
    if (first >= view.size_px).any() or (last < 0).any() or (last < first).any():
        return None
    count = (last - first + 1.0).astype(int)
    return Window(
        left=float(first[0]),
        top=float(first[1]),
        step=1.0,
        width=int(count[0]),
        height=int(count[1]),
    )


def _shown_ring(view: _View, radius_mm: float) -> NDArray[np.float64]:
    """Return points (2, 33) of the picture on a circle about the bore's centre."""
    turn = np.linspace(0.0, 2.0 * np.pi, 33)
    ring_px = _inverse(view.mm_from_px) @ (radius_mm * np.stack([np.cos(turn), np.sin(turn)]))
    shown = [
        distort_point(
            PointPx(view.centre_px.u + float(du), view.centre_px.v + float(dv)),
            view.optics,
            view.size_px,
        )
        for du, dv in ring_px.T
    ]
    return np.array(shown, dtype=np.float64).T


def _near_bgra(
    texture: TipTexture, lighting: Lighting, light: Light, tilt_rad: tuple[float, float]
) -> FloatArray:
    """Return the lit near layer, shape (n, n, 4), colour times alpha."""
    layer = texture.near
    colour = np.array(light.colour, dtype=np.float32)
    brightness = _lit(layer, facet_table(near_facets(texture.tip), lighting, light.ambient))
    brightness += glints(texture, lighting, light.glint_sharpness)
    bgra = _bgra(layer, brightness, colour)
    patch = middle_patch(texture)
    bore = texture.bore[patch][..., None]
    inside = bore_light(texture, lighting, light.ambient, tilt_rad) * colour
    bgra[patch][..., :3] *= 1.0 - bore
    bgra[patch][..., :3] += inside * bore
    if texture.drop is not None:
        lay_drop(bgra, texture.drop, lighting, light.ambient)
    return bgra


def _lay_window(picture: FloatArray, front: FloatArray, window: Window) -> None:
    """Lay the window's content over the picture, as far as it lies in it."""
    height, width = picture.shape[:2]
    left, top = int(window.left), int(window.top)
    u0, u1 = max(left, 0), min(left + window.width, width)
    v0, v1 = max(top, 0), min(top + window.height, height)
    part = front[v0 - top : v1 - top, u0 - left : u1 - left]
    _lay_over(part, picture[v0:v1, u0:u1])
