"""What a small plot shows, and where its marks and labels come to stand. No Qt in here."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum


class Shape(StrEnum):
    """The shape of a mark: it tells what colour tells too."""

    DOT = "dot"
    SQUARE = "square"
    DIAMOND = "diamond"
    CROSS = "cross"
    BOX = "box"
    """The dashed rectangle, in the key only."""


class Ink(StrEnum):
    """Which of the window's colours."""

    ACCENT = "accent"
    WARN = "warn"
    MUTED = "muted"
    TEXT = "text"


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One mark.

    Attributes
    ----------
    x, y
        Where, in the units of the axes.
    label
        Stands beside it where there is room; empty for none.
    tip
        End of an arrow from the mark, in the units of the axes; None for none.
    half
        Half the length of an upright bar through the mark, in units of y; 0 for none.
    """

    x: float
    y: float
    shape: Shape
    ink: Ink
    label: str = ""
    tip: tuple[float, float] | None = None
    half: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """A line through points, in the units of the axes."""

    points: tuple[tuple[float, float], ...]
    ink: Ink


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyEntry:
    """What a shape stands for."""

    shape: Shape
    ink: Ink
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """A place on an axis with its label."""

    at: float
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """A small plot.

    Attributes
    ----------
    name, sentence
        What it shows, and what comes out of it in one sentence.
    x_title, y_title
        With the unit.
    marks, traces, key
        What is drawn, and what the shapes stand for.
    box
        Half width and half height of a dashed rectangle about zero; None for none.
    x_ticks
        Ticks of their own for x (dates); None for round numbers.
    equal
        Whether a unit of x is as long as one of y.
    """

    name: str
    sentence: str
    x_title: str
    y_title: str
    marks: tuple[Mark, ...]
    traces: tuple[Trace, ...] = ()
    key: tuple[KeyEntry, ...] = ()
    box: tuple[float, float] | None = None
    x_ticks: tuple[Tick, ...] | None = None
    equal: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Axes:
    """The map from the units of the axes to the pixels of a rectangle; v grows downwards."""

    left: float
    top: float
    width: float
    height: float
    x_low: float
    x_high: float
    y_low: float
    y_high: float

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Return the pixel of a point."""
        u = self.left + (x - self.x_low) / (self.x_high - self.x_low) * self.width
        v = self.top + (self.y_high - y) / (self.y_high - self.y_low) * self.height
        return u, v


def axes_of(chart: Chart, left: float, top: float, width: float, height: float) -> Axes:
    """Return the map that shows all of a chart in a rectangle, with a margin."""
    points = list(_points(chart))
    x_low, x_high = _widened([x for x, _ in points])
    y_low, y_high = _widened([y for _, y in points])
    if chart.equal:
        unit = max((x_high - x_low) / width, (y_high - y_low) / height)
        x_low, x_high = _about(x_low, x_high, unit * width)
        y_low, y_high = _about(y_low, y_high, unit * height)
    return Axes(
        left=left,
        top=top,
        width=width,
        height=height,
        x_low=x_low,
        x_high=x_high,
        y_low=y_low,
        y_high=y_high,
    )


def _points(chart: Chart) -> Iterator[tuple[float, float]]:
    for mark in chart.marks:
        yield mark.x, mark.y - mark.half
        yield mark.x, mark.y + mark.half
        if mark.tip is not None:
            yield mark.tip
    if chart.box is not None:
        yield -chart.box[0], -chart.box[1]
        yield chart.box


def _widened(values: Sequence[float]) -> tuple[float, float]:
    """Return the range of values with an eighth more at both ends; never an empty one."""
    low, high = (min(values), max(values)) if values else (0.0, 0.0)
    margin = (high - low) / 8.0 or 1.0
    return low - margin, high + margin


def _about(low: float, high: float, length: float) -> tuple[float, float]:
    middle = (low + high) / 2.0
    return middle - length / 2.0, middle + length / 2.0


def round_ticks(low: float, high: float, most: int) -> tuple[Tick, ...]:
    """Return ticks at round numbers (steps of 1, 2 or 5) inside a range, at most so many.

    Examples
    --------
    >>> [tick.label for tick in round_ticks(-0.3, 1.1, 4)]
    ['0.0', '0.5', '1.0']
    """
    step = round_up((high - low) / max(most, 1))
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return tuple(
        Tick(at=i * step, label=f"{i * step + 0.0:.{decimals}f}") for i in range(first, last + 1)
    )


def round_up(value: float) -> float:
    """Return the least of 1, 2, 5, 10 ... (times a power of ten) that is not below `value`."""
    power = 10.0 ** math.floor(math.log10(value))
    return next(n * power for n in (1.0, 2.0, 5.0, 10.0) if n * power >= value * (1.0 - 1e-9))


def round_down(value: float) -> float:
    """Return the greatest of 1, 2, 5, 10 ... (times a power of ten) not above `value`."""
    power = 10.0 ** math.floor(math.log10(value))
    return next(n * power for n in (5.0, 2.0, 1.0) if n * power <= value * (1.0 + 1e-9))


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A rectangle in pixels."""

    left: float
    top: float
    width: float
    height: float

    def meets(self, other: Box) -> bool:
        """Whether the two have a common part."""
        return (
            self.left < other.left + other.width
            and other.left < self.left + self.width
            and self.top < other.top + other.height
            and other.top < self.top + self.height
        )

    def holds(self, other: Box) -> bool:
        """Whether the other lies inside."""
        return (
            self.left <= other.left
            and self.top <= other.top
            and other.left + other.width <= self.left + self.width
            and other.top + other.height <= self.top + self.height
        )


def place_labels(
    spots: Sequence[tuple[float, float]],
    sizes: Sequence[tuple[float, float]],
    taken: Sequence[Box],
    bounds: Box,
    gap: float = 7.0,
) -> tuple[Box | None, ...]:
    """Return where the label of each mark stands, so that none lies on another or on a mark.

    Parameters
    ----------
    spots, sizes
        The marks, and width and height of their labels, in pixels.
    taken
        What labels may not cover: the marks themselves, arrows' tips.
    bounds
        What labels may not leave.

    Returns
    -------
    tuple
        None for a label that finds no place; its number stands in the table all the same.
    """
    used = list(taken)
    placed: list[Box | None] = []
    for spot, size in zip(spots, sizes, strict=True):
        free = (
            box
            for box in _around(spot, size, gap)
            if bounds.holds(box) and not any(box.meets(other) for other in used)
        )
        box = next(free, None)
        placed.append(box)
        if box is not None:
            used.append(box)
    return tuple(placed)


def _around(spot: tuple[float, float], size: tuple[float, float], gap: float) -> Iterator[Box]:
    """Yield the eight places beside a mark, the right one first."""
    (u, v), (width, height) = spot, size
    lefts = {1: u + gap, 0: u - width / 2.0, -1: u - gap - width}
    tops = {1: v + gap, 0: v - height / 2.0, -1: v - gap - height}
    for right, down in ((1, 0), (0, -1), (-1, 0), (0, 1), (1, -1), (-1, -1), (1, 1), (-1, 1)):
        yield Box(left=lefts[right], top=tops[down], width=width, height=height)
