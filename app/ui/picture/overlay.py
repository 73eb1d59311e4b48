"""What is drawn over the picture, as plain values on the widget, without Qt.

A painter (`ink`) draws them as they are. All is worked out from what the window shows
and from where the picture lies; nothing is drawn that was not seen or is not known.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.job.live import Correction
from app.ui.picture.transform import PointWidget, RectWidget, ViewTransform
from app.ui.picture.words import is_lost, length_words
from app.ui.state import DeskState
from app.wiring.glance import Glance, Shown
from vision.bore import BoreFit, BoreRefusal
from vision.geometry import PointPx
from vision.pixel_scale import PixelScale

STALE_S = 0.7
"""An answer that is this much older than the picture no longer belongs to it."""

DASH_PX, DASH_EVERY_PX = 7.0, 13.0
"""Length of a dash of the rim and distance from one to the next, on the widget."""

BRACKET_RADII = 1.4
"""How far out the target's corner marks stand, in radii of the rim."""

SHORTEST_ARROW_PX = 12.0
"""An arrow shorter than this would be all head."""

SHORTEST_LABELLED_PX = 60.0
"""Beside a shorter arrow the words would hide what it points at."""

TICK_PX, WIDE_TICK_PX = 8.0, 90.0
"""Ticks closer than this run together; wider ones count nothing."""

LONGEST_BAR_PX = 140.0

EDGE_PX = 22.0
"""How far a chevron stands inside the picture's edge."""

Line = tuple[PointWidget, ...]
"""A line through some points."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrow:
    """From the bore to the target.

    Attributes
    ----------
    tail, head
        Its ends; the head is the target.
    ticks
        Lines across it, at whole multiples of `tick_mm` from the target.
    tick_mm
        What lies between two ticks.
    label, label_at
        What a tick is worth, and where the middle of these words stands; empty where
        the arrow is too short to have words beside it.
    """

    tail: PointWidget
    head: PointWidget
    ticks: tuple[Line, ...]
    tick_mm: float
    label: str
    label_at: PointWidget


@dataclass(frozen=True, slots=True, kw_only=True)
class OnTarget:
    """The bore is at the target as far as an arrow could show.

    Attributes
    ----------
    at
        Where the diamond stands.
    label
        Words beside it: only where the machine's display has no step that would
        bring the bore closer.
    """

    at: PointWidget
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AxisMark:
    """One of the machine's axes as it lies in the picture.

    Attributes
    ----------
    name
        "+X" or "+Y": where the bore goes when the display's value grows.
    direction
        Unit vector on the widget.
    """

    name: str
    direction: PointWidget


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleBar:
    """A line of a round length.

    Attributes
    ----------
    length_px
        On the widget.
    words
        What it is worth.
    """

    length_px: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Chevron:
    """A mark at the edge behind which the rest of a rim lies.

    Attributes
    ----------
    tip
        Where it points to.
    direction
        Unit vector on the widget, out of the picture.
    """

    tip: PointWidget
    direction: PointWidget


@dataclass(frozen=True, slots=True, kw_only=True)
class Overlay:
    """All that is drawn over the picture.

    Attributes
    ----------
    dimmed
        Whether what the finder said is older than the picture, or the picture is not live.
    target_dimmed
        Whether the picture is not live, so that the target does not belong to it either.
    dashes
        Pieces of the rim where it was seen.
    bore
        The bore's centre.
    brackets
        Four corners about the target.
    arrow
        How to bring the bore to the target, or that it is there; None when unknown.
    axes
        The machine's axes; empty before there is a pixel scale.
    scale_bar
        None before there is a pixel scale.
    chevron
        Where the rest of a rim lies; None when no part of one is at an edge.
    """

    dimmed: bool = False
    target_dimmed: bool = False
    dashes: tuple[Line, ...] = ()
    bore: PointWidget | None = None
    brackets: tuple[Line, ...] = ()
    arrow: Arrow | OnTarget | None = None
    axes: tuple[AxisMark, ...] = ()
    scale_bar: ScaleBar | None = None
    chevron: Chevron | None = None


def overlay_of(state: DeskState, view: ViewTransform, *, is_stale: bool = False) -> Overlay:
    """Return what is drawn over the picture.

    Parameters
    ----------
    state
        What the window shows.
    view
        Where the picture lies.
    is_stale
        Whether the finder's answer is too old for the picture (see `is_stale`).
    """
    scale = state.snapshot.scale
    known = scale if isinstance(scale, PixelScale) else None
    answer = _answer_for(state.glance, view)
    fit = answer if isinstance(answer, BoreFit) else None
    target = state.snapshot.target_px
    return Overlay(
        dimmed=is_stale or is_lost(state.camera),
        target_dimmed=is_lost(state.camera),
        dashes=rim_dashes(fit, view) if fit is not None else (),
        bore=view.to_widget(fit.centre_px) if fit is not None else None,
        brackets=_brackets(state, target, fit, view) if target is not None else (),
        arrow=arrow_of(state.fix, view) if fit is not None and state.fix is not None else None,
        axes=axis_marks(known) if known is not None else (),
        scale_bar=scale_bar(known, view) if known is not None else None,
        chevron=_chevron_for(answer, view),
    )


def is_stale(glance: Glance | None, shown: Shown | None) -> bool:
    """Return whether the finder's answer is too old for the picture that is shown."""
    if glance is None or shown is None:
        return False
    seen, frame = glance.seen, shown.frame
    return (
        seen.camera_generation != frame.camera_generation
        or frame.arrived_at_s - seen.arrived_at_s > STALE_S
    )


def rim_dashes(fit: BoreFit, view: ViewTransform) -> tuple[Line, ...]:
    """Return short dashes along the rim, only where it was seen.

    The turn is cut into equal sectors; the first part of each is a dash, cut short
    where the points that were seen end inside it. A dash without a point is left out.
    """
    if len(fit.rim_px) == 0:
        return ()
    angles, radii = _polar(fit)
    spacing = _usual_gap(angles)
    round_px = 2.0 * math.pi * fit.radius_px * view.scale
    most = max(int(math.pi / spacing), 1)
    sectors = min(max(round(round_px / DASH_EVERY_PX), 8), most)
    width = 2.0 * math.pi / sectors
    dash = width * DASH_PX / DASH_EVERY_PX
    number = np.minimum((angles / width).astype(np.intp), sectors - 1)
    within = angles - number * width
    drawn = within <= dash
    count = np.bincount(number[drawn], minlength=sectors)
    first, last = np.full(sectors, np.inf), np.full(sectors, -np.inf)
    np.minimum.at(first, number[drawn], within[drawn])
    np.maximum.at(last, number[drawn], within[drawn])
    seen = np.flatnonzero(count)
    radius = np.bincount(number[drawn], weights=radii[drawn], minlength=sectors)[seen] / count[seen]
    begin = seen * width + np.maximum(first[seen] - spacing / 2.0, 0.0)
    end = seen * width + np.minimum(last[seen] + spacing / 2.0, dash)
    turned = begin[:, None] + (end - begin)[:, None] * np.array([0.0, 0.5, 1.0])
    return _lines_on(fit.centre_px, radius[:, None], turned, view)


def arrow_of(fix: Correction, view: ViewTransform) -> Arrow | OnTarget:
    """Return the arrow from the bore to the target, with ticks in mm."""
    tail, head = view.to_widget(fix.bore_px), view.to_widget(fix.target_px)
    length = math.dist(tail, head)
    if length < SHORTEST_ARROW_PX or fix.distance_mm == 0.0:
        nothing_left = fix.plan.step_mm.x == 0.0 and fix.plan.step_mm.y == 0.0
        return OnTarget(at=head, label="on target" if nothing_left else "")
    px_per_mm = length / fix.distance_mm
    tick_mm = tick_step_mm(px_per_mm)
    along = PointWidget((head.x - tail.x) / length, (head.y - tail.y) / length)
    across = PointWidget(-along.y, along.x)
    ticks: list[Line] = []
    for number in range(1, int(fix.distance_mm / tick_mm + 1e-9) + 1):
        at = _step(head, along, -number * tick_mm * px_per_mm)
        half = 9.0 if number % 5 == 0 else 6.0
        ticks.append((_step(at, across, -half), _step(at, across, half)))
    # Off the arrow's middle, below it, as far as half the width of the words asks for.
    side = 1.0 if across.y >= 0.0 else -1.0
    off = side * (19.0 + 46.0 * abs(across.x))
    label_at = _step(_step(tail, along, length / 2.0), across, off)
    return Arrow(
        tail=tail,
        head=head,
        ticks=tuple(ticks),
        tick_mm=tick_mm,
        label=f"ticks {length_words(tick_mm)}" if length >= SHORTEST_LABELLED_PX else "",
        label_at=label_at,
    )


def tick_step_mm(px_per_mm: float) -> float:
    """Return what lies between two ticks: 0.1 mm where that is neither dense nor wide."""
    if TICK_PX <= 0.1 * px_per_mm <= WIDE_TICK_PX:
        return 0.1
    return _round_length(TICK_PX / px_per_mm * 1.5, up=True)


def axis_marks(scale: PixelScale) -> tuple[AxisMark, ...]:
    """Return the directions in which the bore goes when X and when Y grows."""
    marks = []
    for name, column in zip(("+X", "+Y"), scale.matrix_px_per_mm.T, strict=True):
        u, v = column / np.linalg.norm(column)
        marks.append(AxisMark(name=name, direction=PointWidget(float(u), float(v))))
    return tuple(marks)


def scale_bar(scale: PixelScale, view: ViewTransform) -> ScaleBar:
    """Return a level line of a round length, no longer than a fifth of the widget."""
    longest_px = min(LONGEST_BAR_PX, 0.22 * view.widget_px[0])
    mm_per_px = math.hypot(*scale.to_mm(PointPx(1.0, 0.0))) / view.scale
    length_mm = _round_length(longest_px * mm_per_px, up=False)
    return ScaleBar(length_px=length_mm / mm_per_px, words=length_words(length_mm))


def chevron_towards(towards: PointPx, view: ViewTransform) -> Chevron:
    """Return the mark at the edge of the picture that is nearest to a point."""
    seen, at = view.visible(), view.to_widget(towards)
    beyond = {
        PointWidget(-1.0, 0.0): seen.left - at.x,
        PointWidget(1.0, 0.0): at.x - seen.right,
        PointWidget(0.0, -1.0): seen.top - at.y,
        PointWidget(0.0, 1.0): at.y - seen.bottom,
    }
    direction = max(beyond, key=lambda side: beyond[side])
    inner = _inset(seen, EDGE_PX)
    tip = PointWidget(
        min(max(at.x, inner.left), inner.right), min(max(at.y, inner.top), inner.bottom)
    )
    match direction:
        case PointWidget(x=-1.0):
            tip = tip._replace(x=inner.left)
        case PointWidget(x=1.0):
            tip = tip._replace(x=inner.right)
        case PointWidget(y=-1.0):
            tip = tip._replace(y=inner.top)
        case _:
            tip = tip._replace(y=inner.bottom)
    return Chevron(tip=tip, direction=direction)


def _answer_for(glance: Glance | None, view: ViewTransform) -> BoreFit | BoreRefusal | None:
    """Leave out an answer to a picture of another size: its pixels are others."""
    if glance is None or glance.picture_size_px != view.picture_px:
        return None
    return glance.seen.fit


def _chevron_for(answer: BoreFit | BoreRefusal | None, view: ViewTransform) -> Chevron | None:
    if not isinstance(answer, BoreRefusal) or answer.towards_px is None:
        return None
    return chevron_towards(answer.towards_px, view)


def _brackets(
    state: DeskState, target: PointPx, fit: BoreFit | None, view: ViewTransform
) -> tuple[Line, ...]:
    """Return four corners; the size is that of the rim, seen now or sighted before."""
    sighted = [s.seen.radius_px for s in state.snapshot.run.sightings]
    radius_px = fit.radius_px if fit is not None else (sighted[-1] if sighted else 0.0)
    return corner_marks(view.to_widget(target), BRACKET_RADII * radius_px * view.scale)


def corner_marks(at: PointWidget, half_px: float) -> tuple[Line, ...]:
    """Return the four corners of a square about a point."""
    half = max(half_px, 14.0)
    arm = min(max(half * 0.35, 7.0), 26.0)
    return tuple(
        (
            PointWidget(at.x + sx * half, at.y + sy * (half - arm)),
            PointWidget(at.x + sx * half, at.y + sy * half),
            PointWidget(at.x + sx * (half - arm), at.y + sy * half),
        )
        for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1))
    )


def _polar(fit: BoreFit) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return angle (0 to 2 pi) and distance of the rim's points from the centre."""
    off = fit.rim_px - np.asarray(fit.centre_px)
    angles = np.arctan2(off[:, 1], off[:, 0]) % (2.0 * math.pi)
    return angles, np.hypot(off[:, 0], off[:, 1])


def _usual_gap(angles: NDArray[np.float64]) -> float:
    """Return the usual angle from one point that was seen to the next."""
    if len(angles) < 3:
        return math.pi / 32.0
    return min(max(float(np.median(np.diff(np.sort(angles)))), 1e-3), math.pi / 8.0)


def _lines_on(
    centre: PointPx,
    radius_px: NDArray[np.float64],
    angle_rad: NDArray[np.float64],
    view: ViewTransform,
) -> tuple[Line, ...]:
    """Return a line through each row of angles, leaving out those beyond the widget."""
    middle = view.to_widget(centre)
    x = middle.x + radius_px * view.scale * np.cos(angle_rad)
    y = middle.y + radius_px * view.scale * np.sin(angle_rad)
    wide, high = view.widget_px
    inside = (x >= 0.0) & (x <= wide) & (y >= 0.0) & (y <= high)
    kept = inside.any(axis=1)
    return tuple(
        tuple(PointWidget(*at) for at in zip(row_x, row_y, strict=True))
        for row_x, row_y in zip(x[kept].tolist(), y[kept].tolist(), strict=True)
    )


def _step(start: PointWidget, direction: PointWidget, length: float) -> PointWidget:
    return PointWidget(start.x + direction.x * length, start.y + direction.y * length)


def _inset(rect: RectWidget, by: float) -> RectWidget:
    dx, dy = min(by, rect.width / 2.0), min(by, rect.height / 2.0)
    return RectWidget(rect.left + dx, rect.top + dy, rect.width - 2.0 * dx, rect.height - 2.0 * dy)


def _round_length(length: float, *, up: bool) -> float:
    """Return the next of 1, 2, 5, 10, ... at or above, or at or below, a length."""
    power = 10.0 ** math.floor(math.log10(length))
    steps = [factor * power for factor in (1.0, 2.0, 5.0, 10.0)]
    slack = 1.0 + 1e-9
    if up:
        return next(step for step in steps if step * slack >= length)
    return next(step for step in reversed(steps) if step <= length * slack)
