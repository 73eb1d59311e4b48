"""A tool's offsets over the runs on its machine."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import tzinfo

from app.job.offsets import ToolOffset
from app.ui.cards.chart import Chart, Ink, KeyEntry, Mark, Shape, Tick, Trace
from app.ui.cards.entries import Row, Table
from app.ui.cards.figures import day_words, moment, signed
from app.wiring.history import PastOffset

_DAY_S = 86400.0


def with_now(
    past: Sequence[PastOffset], offset: ToolOffset | None, run_id: str, now: str
) -> tuple[PastOffset, ...]:
    """Return the earlier offsets, and this run's as the last one where it is known."""
    earlier = tuple(one for one in past if one.run_id != run_id)
    if offset is None:
        return earlier
    here = PastOffset(
        at=now,
        run_id=run_id,
        vector_mm=offset.vector_mm,
        expanded_mm=(offset.expanded_mm[0], offset.expanded_mm[1]),
    )
    return (*earlier, here)


def past_sentence(
    seen: Sequence[PastOffset], now: str, *, has_now: bool, zone: tzinfo | None = None
) -> str:
    """Return what earlier runs say of a nozzle.

    Parameters
    ----------
    seen
        Oldest first.
    has_now
        Whether the last of them is this run's.
    """
    if len(seen) - has_now < 1:
        return "No earlier run on this machine has an offset of this tool."
    if has_now:
        return moved_sentence(seen, now, zone)
    return (
        f"Last known on {day_words(seen[-1].at, now, zone)}: "
        f"X {signed(seen[-1].vector_mm.x, 3)} Y {signed(seen[-1].vector_mm.y, 3)} mm."
    )


def moved_sentence(seen: Sequence[PastOffset], now: str, zone: tzinfo | None = None) -> str:
    """Return how far a nozzle moved between the last two runs.

    What both uncertainties together allow (root of the sum of their squares, per
    axis) is not called a movement.

    Parameters
    ----------
    seen
        Oldest first; two at least.
    """
    then, last = seen[-2:]
    moved = (
        1e3 * (last.vector_mm.x - then.vector_mm.x),
        1e3 * (last.vector_mm.y - then.vector_mm.y),
    )
    allowed = [1e3 * math.hypot(last.expanded_mm[a], then.expanded_mm[a]) for a in (0, 1)]
    beyond = [
        f"{'XY'[axis]} (more than {allowed[axis]:.0f} um)"
        for axis in (0, 1)
        if abs(moved[axis]) > allowed[axis]
    ]
    judged = (
        f"beyond what both uncertainties allow in {' and '.join(beyond)}"
        if beyond
        else "no more than both uncertainties allow"
    )
    return (
        f"Moved by {signed(moved[0], 0)} um in X and {signed(moved[1], 0)} um in Y since "
        f"{day_words(then.at, now, zone)}: {judged}."
    )


def past_table(
    seen: Sequence[PastOffset], now: str, decimals: int, zone: tzinfo | None = None
) -> Table:
    """Return the numbers of the plot, oldest first."""
    rows = tuple(
        Row(
            cells=(
                day_words(one.at, now, zone),
                signed(one.vector_mm.x, decimals),
                signed(one.vector_mm.y, decimals),
                f"{one.expanded_mm[0] * 1e3:.0f}",
                f"{one.expanded_mm[1] * 1e3:.0f}",
            )
        )
        for one in seen
    )
    return Table(
        name="offsets over earlier runs",
        headers=("day", "X mm", "Y mm", "U X um", "U Y um"),
        rows=rows,
    )


def past_chart(
    seen: Sequence[PastOffset], now: str, tool: int, sentence: str, zone: tzinfo | None = None
) -> Chart:
    """Return X and Y over time as change since the first of two runs or more."""
    start = moment(seen[0].at)
    days = [(moment(one.at) - start).total_seconds() / _DAY_S for one in seen]
    # Y a little to the right, so that its bars do not lie on those of X.
    aside = max(days[-1], 1.0) / 60.0
    x = _marks(seen, days, axis=0, shape=Shape.DOT, ink=Ink.ACCENT)
    y = _marks(seen, [day + aside for day in days], axis=1, shape=Shape.SQUARE, ink=Ink.WARN)
    return Chart(
        name=f"Tool {tool} over time",
        sentence=sentence,
        x_title="day of the run",
        y_title=f"um since {day_words(seen[0].at, now, zone)}",
        marks=(*x, *y),
        traces=(_through(x), _through(y)),
        key=(
            KeyEntry(shape=Shape.DOT, ink=Ink.ACCENT, words="X with U"),
            KeyEntry(shape=Shape.SQUARE, ink=Ink.WARN, words="Y with U"),
        ),
        x_ticks=tuple(
            Tick(at=day, label=day_words(one.at, now, zone))
            for day, one in zip(days, seen, strict=True)
        ),
    )


def _marks(
    seen: Sequence[PastOffset], days: Sequence[float], *, axis: int, shape: Shape, ink: Ink
) -> tuple[Mark, ...]:
    # Only X and Y: the Z of a nozzle vector may be missing.
    places = [(one.vector_mm.x, one.vector_mm.y)[axis] for one in seen]
    return tuple(
        Mark(
            x=day,
            y=1e3 * (place - places[0]),
            shape=shape,
            ink=ink,
            half=1e3 * one.expanded_mm[axis],
        )
        for day, one, place in zip(days, seen, places, strict=True)
    )


def _through(marks: Sequence[Mark]) -> Trace:
    return Trace(points=tuple((mark.x, mark.y) for mark in marks), ink=marks[0].ink)
