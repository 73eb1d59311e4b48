"""What the opened card of a tool shows. No Qt in here."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import tzinfo

from app.job.bores import bore_words
from app.job.facts import Purpose
from app.job.jogs import decimals_of
from app.job.offsets import ToolOffset
from app.job.run import Run, Sighting
from app.job.snapshot import Snapshot
from app.ui.cards.chart import Chart, Ink, KeyEntry, Mark, Shape
from app.ui.cards.entries import Row, Table, short_state, state_words
from app.ui.cards.figures import approach_words, clock_words, signed, vector_decimals
from app.ui.cards.page import Bar, Budget, Page, Past
from app.ui.cards.past import past_chart, past_sentence, past_table, with_now
from app.ui.cards.row_words import offset_of, tool_standing
from app.ui.cards.story import labels_of, story_of
from app.ui.result.words import closure_said
from app.ui.state import DeskState

Misses = Mapping[int, tuple[float, float]]


def tool_page(state: DeskState, tool: int, zone: tzinfo | None = None) -> Page:
    """Return what a tool's card holds."""
    snapshot, run = state.snapshot, state.snapshot.run
    seen = tuple(s for s in run.sightings if s.seen.purpose is Purpose.TOOL and s.seen.tool == tool)
    misses = misses_of(snapshot)
    offset = offset_of(snapshot, tool)
    standing = tool_standing(snapshot, state.step, tool)
    is_reference = tool == run.profile.reference_tool
    return Page(
        key=str(tool),
        title=f"Tool {tool}{', the reference' if is_reference else ''}",
        state=standing.state,
        word=standing.word,
        lines=tool_lines(snapshot, tool, offset),
        chart=_repeats(snapshot, seen, misses, offset)
        if any(s.number in misses for s in seen)
        else None,
        table=_table(snapshot, seen, misses, zone),
        budget=budget_of(offset),
        past=None if is_reference else _past(state, tool, offset, zone),
        story=story_of(run, Purpose.TOOL, tool, zone),
        decimals=decimals_of(run.profile.display_step_mm),
    )


def tool_lines(snapshot: Snapshot, tool: int, offset: ToolOffset | None) -> tuple[str, ...]:
    """Return where the nozzle stands and how surely, and what is said against it."""
    against = (*_bore(snapshot, tool), *_against(snapshot, tool))
    if tool == snapshot.run.profile.reference_tool:
        return ("All other nozzles are measured from this one.", *_closure(snapshot), *against)
    if offset is None:
        return ("It has no sighting that counts yet.", *against)
    decimals = vector_decimals(snapshot.run.profile)
    x, y = (signed(value, decimals) for value in offset.vector_mm[:2])
    u_x, u_y = (f"{1e3 * value:.0f}" for value in offset.expanded_mm[:2])
    factors = sorted({f"{k:.2f}" for k in offset.coverage})
    return (
        f"The nozzle stands X {x} Y {y} mm from the reference nozzle.",
        f"U: X {u_x} um, Y {u_y} um (95 %, factor {' and '.join(factors)}).",
        *against,
    )


def _bore(snapshot: Snapshot, tool: int) -> tuple[str, ...]:
    """Return how wide the bore is, where that was measured."""
    size = snapshot.bores.get(tool)
    if size is None:
        return ()
    oval = f"longest less shortest diameter {1e-3 * size.out_of_roundness_um:.3f} mm"
    return (f"The bore measures {bore_words(size)} (k = 2); {oval}.",)


def _against(snapshot: Snapshot, tool: int) -> tuple[str, ...]:
    """Return the findings about a tool; its sightings are called as the table calls them."""
    own = {f"entry {s.number}" for s in snapshot.run.tool_sightings(tool)} | {f"tool {tool}"}
    labels = labels_of(snapshot.run)

    def called(entry: re.Match[str]) -> str:
        return f"no. {labels.get(int(entry[1]), entry[1])}"

    return tuple(
        re.sub(r"entry (\d+)", called, found.message)
        for found in snapshot.findings
        if found.path in own
    )


def _closure(snapshot: Snapshot) -> tuple[str, ...]:
    """Return how the reference came back, unless that is said as a finding."""
    is_found = any(found.code == "closure" for found in snapshot.findings)
    if snapshot.solution is None or snapshot.solution.closure_um is None or is_found:
        return ()
    return (closure_said(snapshot).sentence,)


def misses_of(snapshot: Snapshot) -> Misses:
    """Return what each sighting misses the answer by, in um, by its entry number."""
    if snapshot.solution is None:
        return {}
    counting = snapshot.run.tool_sightings()
    return {
        s.number: (float(x), float(y))
        for s, (x, y) in zip(counting, snapshot.solution.residuals_um, strict=True)
    }


def _table(
    snapshot: Snapshot, seen: Sequence[Sighting], misses: Misses, zone: tzinfo | None
) -> Table:
    run = snapshot.run
    decimals = decimals_of(run.profile.display_step_mm)
    labels = labels_of(run)
    paths = {found.path for found in snapshot.findings}
    rows = tuple(
        _row(
            run,
            s,
            labels[s.number],
            misses.get(s.number),
            decimals,
            zone,
            f"entry {s.number}" in paths,
        )
        for s in seen
    )
    return Table(
        name="sightings",
        headers=(
            "no.",
            "when",
            "X mm",
            "Y mm",
            "miss X Y um",
            "state",
            "from",
            "centre px",
        ),
        rows=rows,
    )


def _row(
    run: Run,
    sighting: Sighting,
    label: str,
    miss: tuple[float, float] | None,
    decimals: int,
    zone: tzinfo | None,
    doubtful: bool,
) -> Row:
    seen = sighting.seen
    doubtful = doubtful and sighting.counts
    said = state_words(run, sighting, decimals)
    return Row(
        cells=(
            label,
            clock_words(sighting.at, zone),
            f"{seen.position.x:.{decimals}f}",
            f"{seen.position.y:.{decimals}f}",
            "-" if miss is None else f"{signed(miss[0], 1)} {signed(miss[1], 1)}",
            short_state(sighting, doubtful=doubtful),
            approach_words(seen.approach),
            f"{seen.centre_px.u:.1f} {seen.centre_px.v:.1f}",
        ),
        name=f"sighting {label}",
        number=sighting.number,
        position=seen.position,
        counts=sighting.counts,
        struck=sighting.struck,
        doubtful=doubtful,
        tip=f"doubtful; {said}" if doubtful else said,
    )


def _repeats(
    snapshot: Snapshot, seen: Sequence[Sighting], misses: Misses, offset: ToolOffset | None
) -> Chart:
    """Return the misses of a tool's sightings about its answer, with U as a dashed box."""
    is_reference = offset is None or not offset.contributors
    u = None
    if offset is not None and not is_reference:
        u = (1e3 * offset.expanded_mm[0], 1e3 * offset.expanded_mm[1])
    paths = {found.path for found in snapshot.findings}
    labels = labels_of(snapshot.run)
    marks = tuple(
        _repeat_mark(misses[s.number], labels[s.number], is_doubtful=f"entry {s.number}" in paths)
        for s in seen
        if s.number in misses
    )
    return Chart(
        name="Repeats about their mean",
        sentence=_repeats_sentence(marks, u),
        x_title="miss X um",
        y_title="miss Y um",
        marks=marks,
        key=tuple(_repeats_key(marks, u)),
        box=u,
        equal=True,
    )


def _repeat_mark(miss: tuple[float, float], label: str, *, is_doubtful: bool) -> Mark:
    shape, ink = (Shape.DIAMOND, Ink.WARN) if is_doubtful else (Shape.DOT, Ink.ACCENT)
    return Mark(x=miss[0], y=miss[1], shape=shape, ink=ink, label=label)


def _repeats_key(marks: Sequence[Mark], u: tuple[float, float] | None) -> Iterator[KeyEntry]:
    shapes = {mark.shape for mark in marks}
    if Shape.DOT in shapes:
        yield KeyEntry(shape=Shape.DOT, ink=Ink.ACCENT, words="a sighting")
    if Shape.DIAMOND in shapes:
        yield KeyEntry(shape=Shape.DIAMOND, ink=Ink.WARN, words="doubtful")
    if u is not None:
        yield KeyEntry(shape=Shape.BOX, ink=Ink.MUTED, words="U")


def _repeats_sentence(marks: Sequence[Mark], u: tuple[float, float] | None) -> str:
    if len(marks) < 2:
        return "Sighted once: there is no repeat to hold against it."
    far = max(marks, key=lambda mark: math.hypot(mark.x, mark.y))
    said = (
        f"{len(marks)} sightings; no. {far.label} lies farthest from the answer, "
        f"{math.hypot(far.x, far.y):.1f} um"
    )
    if u is None:
        return f"{said}."
    inside = all(abs(mark.x) <= u[0] and abs(mark.y) <= u[1] for mark in marks)
    return f"{said}; {'all' if inside else 'not all'} lie within U."


def budget_of(offset: ToolOffset | None) -> Budget | None:
    """Return where U comes from; None for the reference and before there is an offset."""
    if offset is None or not offset.contributors:
        return None
    largest = offset.contributors[0]
    bars = tuple(
        Bar(name=one.name, u_x_um=one.u_x_um, u_y_um=one.u_y_um)
        for one in offset.contributors
        if max(one.u_x_um, one.u_y_um) > 0.0
    )
    return Budget(
        sentence=f"Most of U is {largest.name}. It shrinks by: {largest.remedy}.", bars=bars
    )


def _past(state: DeskState, tool: int, offset: ToolOffset | None, zone: tzinfo | None) -> Past:
    run = state.snapshot.run
    now = run.entries[-1].at
    earlier = state.history.get(tool, ())
    seen = with_now(earlier, offset, state.run_id, now)
    sentence = past_sentence(seen, now, has_now=offset is not None, zone=zone)
    if len(seen) < 2:
        return Past(sentence=sentence, chart=None, table=None)
    return Past(
        sentence=sentence,
        chart=past_chart(seen, now, tool, sentence, zone),
        table=past_table(seen, now, vector_decimals(run.profile), zone),
    )
