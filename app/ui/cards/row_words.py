"""What the cards of the run sheet say: one frozen value a card. No Qt in here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from app.job.bores import bore_words
from app.job.facts import Purpose
from app.job.offsets import ToolOffset
from app.job.run import Run, Sighting
from app.job.sheet import (
    SCALE_JOGS,
    ConfirmMirror,
    HomeFirst,
    MendScale,
    SightScale,
    SightTool,
    Step,
)
from app.job.snapshot import Snapshot
from app.ui.cards.figures import rms_um, signed, vector_decimals, whole_um
from app.ui.look.states import State
from vision.pixel_scale import PixelScale, ScaleRefusal

SCALE_KEY = "scale"
"""The key of the pixel scale's card; a tool's is its number as text."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """What one card shows.

    Attributes
    ----------
    key
        As `OpenCard` takes it.
    title, short_title
        Such as "scale 4/6", "T3".
    is_reference
        Whether all others are measured from this tool.
    is_next
        Whether the run sheet asks for it now.
    state, word, short_word
        How it stands: a shape, and words for it, short ones for narrow cards.
    figures
        Up to three lines of numbers.
    thumbnail
        Entry number of the sighting whose picture is shown; None for none.
    name
        All of it, for screen readers and the tooltip.
    """

    key: str
    title: str
    is_reference: bool
    is_next: bool
    state: State
    word: str
    short_word: str
    figures: tuple[str, ...]
    thumbnail: int | None
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How something stands: the shape, the words, and words for where there is little room."""

    state: State
    word: str
    short: str


def cards_of(snapshot: Snapshot, step: Step, thumbnails: Mapping[int, object]) -> tuple[Card, ...]:
    """Return the pixel scale's card and one for each tool, in the machine's order.

    Parameters
    ----------
    thumbnails
        Which sightings, by entry number, a small picture is there of.
    """
    tools = [tool.number for tool in snapshot.run.profile.tools]
    return (
        _scale_card(snapshot, step),
        *(_tool_card(snapshot, step, tool, thumbnails) for tool in tools),
    )


def _scale_card(snapshot: Snapshot, step: Step) -> Card:
    made = len(snapshot.run.scale_sightings())
    title = f"scale {made}/{max(made, SCALE_JOGS)}"
    standing = scale_standing(snapshot, step)
    scale = snapshot.scale
    figures: tuple[str, ...] = ()
    said = ""
    if isinstance(scale, PixelScale):
        figures = (f"{scale.um_per_px:.2f} um/px", f"RMS {rms_um(scale):.1f} um")
        said = f", {scale.um_per_px:.2f} um per pixel, residuals {rms_um(scale):.1f} um RMS"
    return Card(
        key=SCALE_KEY,
        title=title,
        is_reference=False,
        is_next=standing.state is State.NEXT,
        state=standing.state,
        word=standing.word,
        short_word=standing.short,
        figures=figures,
        thumbnail=None,
        name=f"Pixel scale: {made} of {max(made, SCALE_JOGS)} jogs{said}, {standing.word}",
    )


def scale_standing(snapshot: Snapshot, step: Step) -> Standing:
    """Return how the pixel scale stands."""
    run, scale = snapshot.run, snapshot.scale
    why = _why_none(run, Purpose.SCALE, None)
    if isinstance(scale, ScaleRefusal) and isinstance(step, MendScale):
        return Standing(state=State.BAD, word="no scale", short="none")
    if isinstance(step, MendScale) or (isinstance(scale, PixelScale) and scale.doubtful):
        return Standing(state=State.WARNING, word="doubtful", short="doubtful")
    if isinstance(step, ConfirmMirror):
        return Standing(state=State.WARNING, word="mirrored?", short="mirrored?")
    if isinstance(step, SightScale):
        return Standing(state=State.NEXT, word=f"next, {why}" if why else "next", short="next")
    if isinstance(scale, PixelScale):
        return Standing(state=State.GOOD, word="good", short="good")
    if why == "outdated":
        return Standing(state=State.WARNING, word=why, short=why)
    return Standing(state=State.WAITING, word="to do", short="to do")


def _tool_card(snapshot: Snapshot, step: Step, tool: int, thumbnails: Mapping[int, object]) -> Card:
    run = snapshot.run
    is_reference = tool == run.profile.reference_tool
    standing = tool_standing(snapshot, step, tool)
    offset = offset_of(snapshot, tool)
    figures, said = _tool_figures(snapshot, offset, is_reference=is_reference)
    bore = snapshot.bores.get(tool)
    said += "" if bore is None else f", bore {bore_words(bore)}"
    pictured = [s.number for s in run.tool_sightings(tool) if s.number in thumbnails]
    return Card(
        key=str(tool),
        title=f"T{tool}",
        is_reference=is_reference,
        is_next=standing.state is State.NEXT,
        state=standing.state,
        word=standing.word,
        short_word=standing.short,
        figures=figures,
        thumbnail=pictured[-1] if pictured else None,
        name=f"Tool {tool}{', reference' if is_reference else ''}{said}: {standing.word}",
    )


def _tool_figures(
    snapshot: Snapshot, offset: ToolOffset | None, *, is_reference: bool
) -> tuple[tuple[str, ...], str]:
    """Return the lines of numbers, and the same to be read out."""
    if is_reference:
        return ("reference",), ""
    if offset is None:
        return (), ""
    decimals = vector_decimals(snapshot.run.profile)
    x, y = (signed(value, decimals) for value in offset.vector_mm[:2])
    u = whole_um(max(offset.expanded_mm[:2]))
    return (f"X {x}", f"Y {y}", f"U {u}"), f", X {x} Y {y} mm, U {u}"


def offset_of(snapshot: Snapshot, tool: int) -> ToolOffset | None:
    """Return a tool's offset; None where nothing that counts gives one."""
    if snapshot.solution is None:
        return None
    return next((found for found in snapshot.solution.tools if found.tool == tool), None)


def tool_standing(snapshot: Snapshot, step: Step, tool: int) -> Standing:
    """Return how a tool stands: to do, next, sighted, struck, doubtful, outdated."""
    run = snapshot.run
    made, wanted = len(run.tool_sightings(tool)), sightings_wanted(run, tool)
    count = f"{made} of {wanted}"
    why = _why_none(run, Purpose.TOOL, tool)
    if isinstance(step, SightTool | HomeFirst) and step.tool == tool:
        more = why or (count if made else "")
        return Standing(state=State.NEXT, word=f"next, {more}" if more else "next", short="next")
    if is_doubtful(snapshot, tool):
        return Standing(state=State.WARNING, word="doubtful", short="doubtful")
    if any(
        found.code == "bore-size" and found.path == f"tool {tool}" for found in snapshot.findings
    ):
        return Standing(state=State.WARNING, word="other bore", short="bore")
    if made >= wanted:
        return Standing(state=State.GOOD, word="sighted", short="sighted")
    if made:
        return Standing(state=State.GOOD, word=f"sighted {count}", short=count)
    if why == "struck":
        return Standing(state=State.STRUCK, word="struck", short="struck")
    if why:
        return Standing(state=State.WARNING, word=why, short=why)
    return Standing(state=State.WAITING, word="to do", short="to do")


def sightings_wanted(run: Run, tool: int) -> int:
    """Return how many sightings a whole run has of a tool; the reference opens it too."""
    opening = 1 if tool == run.profile.reference_tool else 0
    return run.profile.sightings_per_tool + opening


def is_doubtful(snapshot: Snapshot, tool: int) -> bool:
    """Whether a finding speaks against a tool's place, or against a sighting of it."""
    paths = {f"tool {tool}"} | {f"entry {s.number}" for s in snapshot.run.tool_sightings(tool)}
    return any(found.path in paths and found.code != "bore-size" for found in snapshot.findings)


def _why_none(run: Run, purpose: Purpose, tool: int | None) -> str:
    """Return why nothing counts although something was sighted; empty where that is not so."""
    seen = _sightings(run, purpose, tool)
    if not seen or any(s.counts for s in seen):
        return ""
    return "struck" if seen[-1].struck else "outdated"


def _sightings(run: Run, purpose: Purpose, tool: int | None) -> Sequence[Sighting]:
    return [
        s
        for s in run.sightings
        if s.seen.purpose is purpose and (tool is None or s.seen.tool == tool)
    ]
