"""What the opened card of the pixel scale shows. No Qt in here."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from datetime import tzinfo

import numpy as np

from app.job.facts import Position, Purpose
from app.job.jogs import decimals_of, rounded_step
from app.job.run import Run, Sighting
from app.job.sheet import SCALE_JOGS, Step
from app.job.snapshot import Snapshot
from app.ui.cards.chart import Chart, Ink, KeyEntry, Mark, Shape, round_down
from app.ui.cards.entries import Row, Table, short_state, state_words
from app.ui.cards.figures import place_words, rms_um, signed
from app.ui.cards.page import Page
from app.ui.cards.row_words import SCALE_KEY, scale_standing
from app.ui.cards.story import labels_of, story_of
from vision.pixel_scale import DoubtfulEntry, PixelScale, ScaleRefusal

_ARROW_SHARE = 0.35
"""How long the longest arrow is, as a part of the jogs' extent."""

_LEAST_MISS_UM = 0.05
"""Below this a residual shows as zero: no arrow."""

Residuals = Mapping[int, tuple[float, float]]


def scale_page(snapshot: Snapshot, step: Step, zone: tzinfo | None = None) -> Page:
    """Return what the pixel scale's card holds."""
    run = snapshot.run
    jogs = tuple(s for s in run.sightings if s.seen.purpose is Purpose.SCALE)
    residuals = residuals_of(snapshot)
    doubtful = doubtful_of(snapshot)
    standing = scale_standing(snapshot, step)
    return Page(
        key=SCALE_KEY,
        title="Pixel scale",
        state=standing.state,
        word=standing.word,
        lines=scale_lines(snapshot),
        chart=_chart(snapshot, jogs, residuals, doubtful) if jogs else None,
        table=_table(run, jogs, residuals, doubtful),
        story=story_of(run, Purpose.SCALE, run.profile.reference_tool, zone),
        decimals=decimals_of(run.profile.display_step_mm),
    )


def scale_lines(snapshot: Snapshot) -> tuple[str, ...]:
    """Return what came out: scale, rotation, mirroring, residuals; or why nothing did."""
    scale = snapshot.scale
    if scale is None:
        made = len(snapshot.run.scale_sightings())
        return (f"{made} of {SCALE_JOGS} jogs are made; the scale is worked out from three on.",)
    if isinstance(scale, ScaleRefusal):
        return (scale.sentence,)
    x, y = scale.axis_px_per_mm
    u = 2e2 * max(scale.relative_u)
    lines = [
        f"{scale.um_per_px:.3f} um per px (X {1e3 / x:.3f}, Y {1e3 / y:.3f}), "
        f"known to {u:.2g} % (k = 2).",
        f"Rotation {rotation_words(scale.rotation_deg)} (+X from the picture's right); "
        f"{'mirrored' if scale.mirrored else 'not mirrored'}; "
        f"axes {abs(scale.skew_deg):.1f} deg off square.",
        f"Residuals RMS {rms_um(scale):.1f} um (X {scale.rms_um[0]:.1f}, Y {scale.rms_um[1]:.1f}).",
    ]
    if scale.widened:
        lines.append("The jogs scatter more than this machine should: the scatter was used.")
    return tuple(lines)


def rotation_words(degrees: float) -> str:
    """Return an angle from +u towards +v as one sees it: v grows downwards.

    Examples
    --------
    >>> rotation_words(-3.6), rotation_words(90.0)
    ('3.6 deg counterclockwise', '90.0 deg clockwise')
    """
    return f"{abs(degrees):.1f} deg {'counterclockwise' if degrees < 0 else 'clockwise'}"


def residuals_of(snapshot: Snapshot) -> Residuals:
    """Return what each jog misses the scale by, in um, by its entry number.

    Jogs that count have the fit's residuals. A struck one is held against the scale of
    the others, so that one sees what it was struck for. Outdated ones do not compare.
    Where no scale was learnt, only the entries that may be wrong have one: by the scale
    of the jogs without them.
    """
    scale = snapshot.scale
    if scale is None:
        return {}
    counting = snapshot.run.scale_sightings()
    if isinstance(scale, ScaleRefusal):
        return {
            counting[entry.index].number: (
                1e3 * (entry.suggested_mm.x - entry.read_mm.x),
                1e3 * (entry.suggested_mm.y - entry.read_mm.y),
            )
            for entry in scale.doubtful
        }
    found = {
        s.number: (float(x), float(y))
        for s, (x, y) in zip(counting, scale.residuals_um, strict=True)
    }
    for s in snapshot.run.sightings:
        if s.seen.purpose is Purpose.SCALE and s.struck and not s.outdated:
            found[s.number] = _miss_um(scale, s)
    return found


def _miss_um(scale: PixelScale, sighting: Sighting) -> tuple[float, float]:
    """Return where the picture puts a place minus what was entered, as the fit has it."""
    seen = sighting.seen
    step_px = np.array(seen.centre_px) - np.array(scale.origin_px)
    stands = np.linalg.solve(scale.matrix_px_per_mm, step_px)
    x = scale.origin_mm.x + stands[0] - (seen.position.x - seen.in_display_mm.x)
    y = scale.origin_mm.y + stands[1] - (seen.position.y - seen.in_display_mm.y)
    return 1e3 * float(x), 1e3 * float(y)


def doubtful_of(snapshot: Snapshot) -> Mapping[int, Position]:
    """Return the doubtful entries, by number, with what the picture would have there."""
    scale = snapshot.scale
    if scale is None:
        return {}
    counting = snapshot.run.scale_sightings()
    return {
        counting[entry.index].number: _suggested(snapshot.run, counting[entry.index], entry)
        for entry in scale.doubtful
    }


def _suggested(run: Run, sighting: Sighting, entry: DoubtfulEntry) -> Position:
    """Return the suggestion as the display would read it."""
    step_mm, d = run.profile.display_step_mm, sighting.seen.in_display_mm
    return Position(
        rounded_step(entry.suggested_mm.x + d.x, step_mm),
        rounded_step(entry.suggested_mm.y + d.y, step_mm),
        sighting.seen.position.z,
    )


def _table(
    run: Run,
    jogs: tuple[Sighting, ...],
    residuals: Residuals,
    doubtful: Mapping[int, Position],
) -> Table:
    decimals = decimals_of(run.profile.display_step_mm)
    labels = labels_of(run)
    rows = []
    for jog in jogs:
        label = labels[jog.number]
        place, miss = jog.seen.position, residuals.get(jog.number)
        said = state_words(run, jog, decimals)
        suggested = doubtful.get(jog.number)
        if suggested is not None:
            said = f"doubtful: the picture says {place_words(suggested, decimals)}; {said}"
        rows.append(
            Row(
                cells=(
                    label,
                    f"{place.x:.{decimals}f}",
                    f"{place.y:.{decimals}f}",
                    "-" if miss is None else signed(miss[0], 1),
                    "-" if miss is None else signed(miss[1], 1),
                    short_state(jog, doubtful=suggested is not None),
                ),
                name=f"jog {label}",
                number=jog.number,
                position=place,
                counts=jog.counts,
                struck=jog.struck,
                doubtful=suggested is not None,
                suggested=suggested,
                tip=said,
            )
        )
    return Table(
        name="jogs",
        headers=("jog", "X mm", "Y mm", "res. X um", "res. Y um", "state"),
        rows=tuple(rows),
    )


def _chart(
    snapshot: Snapshot,
    jogs: tuple[Sighting, ...],
    residuals: Residuals,
    doubtful: Mapping[int, Position],
) -> Chart:
    times = magnification(jogs, residuals)
    labels = labels_of(snapshot.run)
    marks = tuple(_marks(jogs, labels, residuals, doubtful, times))
    return Chart(
        name="Jogs and their residuals",
        sentence=_sentence(snapshot, jogs, residuals, times),
        x_title="X mm",
        y_title="Y mm",
        marks=marks,
        key=tuple(_key(marks)),
        equal=True,
    )


def magnification(jogs: tuple[Sighting, ...], residuals: Residuals) -> float:
    """Return how many times larger than true the residuals are drawn; 0 for no arrows.

    The longest one of the jogs that count spans about a third of their extent.
    """
    places = [jog.seen.position for jog in jogs if jog.counts]
    counting = [residuals[j.number] for j in jogs if j.counts and j.number in residuals]
    longest_mm = 1e-3 * max((math.hypot(*miss) for miss in counting), default=0.0)
    if not places or 1e3 * longest_mm < _LEAST_MISS_UM:
        return 0.0
    extent = max(
        max(p.x for p in places) - min(p.x for p in places),
        max(p.y for p in places) - min(p.y for p in places),
    )
    return round_down(extent * _ARROW_SHARE / longest_mm) if extent > 0.0 else 0.0


def _marks(
    jogs: tuple[Sighting, ...],
    labels: Mapping[int, str],
    residuals: Residuals,
    doubtful: Mapping[int, Position],
    times: float,
) -> Iterator[Mark]:
    for jog in jogs:
        place, miss = jog.seen.position, residuals.get(jog.number)
        shape, ink = _look(jog, is_doubtful=jog.number in doubtful)
        tip = None
        if miss is not None and times and jog.counts:
            tip = (place.x + 1e-3 * times * miss[0], place.y + 1e-3 * times * miss[1])
        yield Mark(x=place.x, y=place.y, shape=shape, ink=ink, label=labels[jog.number], tip=tip)


def _look(jog: Sighting, *, is_doubtful: bool) -> tuple[Shape, Ink]:
    if not jog.counts:
        return Shape.CROSS, Ink.MUTED
    return (Shape.DIAMOND, Ink.WARN) if is_doubtful else (Shape.DOT, Ink.ACCENT)


def _key(marks: tuple[Mark, ...]) -> Iterator[KeyEntry]:
    """Yield what the shapes that occur stand for."""
    words = {Shape.DOT: "counts", Shape.DIAMOND: "doubtful", Shape.CROSS: "does not count"}
    for shape, said in words.items():
        ink = next((mark.ink for mark in marks if mark.shape is shape), None)
        if ink is not None:
            yield KeyEntry(shape=shape, ink=ink, words=said)


def _sentence(
    snapshot: Snapshot, jogs: tuple[Sighting, ...], residuals: Residuals, times: float
) -> str:
    counting = [jog for jog in jogs if jog.counts and jog.number in residuals]
    if not counting:
        return "Where the jogs were made; there is no scale yet to hold them against."
    worst = max(counting, key=lambda jog: math.hypot(*residuals[jog.number]))
    longest = math.hypot(*residuals[worst.number])
    label = labels_of(snapshot.run)[worst.number]
    drawn = f"arrows show the residuals {times:g} times larger" if times else "all of them vanish"
    if isinstance(snapshot.scale, ScaleRefusal):
        return f"Jog {label} lies {longest:.0f} um from where the other jogs put it; {drawn}."
    return f"Jog {label} misses most, by {longest:.1f} um; {drawn}."
