"""The sightings of a run as rows of a table, and what happened to each, in words."""

from __future__ import annotations

from dataclasses import dataclass

from app.job.facts import CameraDisturbed, Position, Struck
from app.job.run import UNDONE, Run, Sighting
from app.ui.cards.figures import place_words


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row.

    Attributes
    ----------
    cells
        Texts, one a column.
    name
        What the buttons' tooltips call it, such as "jog 4"; empty for rows that are only read.
    number
        The entry in the run; None for rows that are only read.
    position
        As it was typed; None for rows that are only read.
    counts, struck, doubtful
        What may be done with it, and how it is marked.
    suggested
        What the picture says of a doubtful position; None for others.
    tip
        How it stands and why, at length.
    """

    cells: tuple[str, ...]
    name: str = ""
    number: int | None = None
    position: Position | None = None
    counts: bool = True
    struck: bool = False
    doubtful: bool = False
    suggested: Position | None = None
    tip: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table of texts."""

    name: str
    headers: tuple[str, ...]
    rows: tuple[Row, ...]

    def text(self) -> str:
        """Return it for the clipboard: columns with tabs between, as spreadsheets take them."""
        lines = (self.headers, *(row.cells for row in self.rows))
        return "".join("\t".join(line) + "\n" for line in lines)


def state_words(run: Run, sighting: Sighting, decimals: int) -> str:
    """Return how a sighting stands and why: "struck: a drop came off; retyped from ..."."""
    if sighting.struck:
        state = f"struck: {struck_why(run, sighting.number)}"
    elif sighting.outdated:
        state = f"outdated: {disturbed_why(run, sighting.number)}"
    else:
        state = "counts"
    if sighting.typed_first is None:
        return state
    return f"{state}; retyped from {place_words(sighting.typed_first, decimals)}"


def short_state(sighting: Sighting, *, doubtful: bool) -> str:
    """Return how a sighting stands, in a word or two."""
    if sighting.struck:
        return "struck"
    if sighting.outdated:
        return "outdated"
    if doubtful:
        return "doubtful"
    return "retyped" if sighting.typed_first is not None else "counts"


def struck_why(run: Run, number: int) -> str:
    """Return why an entry was struck out, as it was said last."""
    whys = [
        entry.fact.why
        for entry in run.entries
        if isinstance(entry.fact, Struck) and entry.fact.number == number
    ]
    if not whys or not whys[-1]:
        return "no reason given"
    return "taken back" if whys[-1] == UNDONE else whys[-1]


def disturbed_why(run: Run, number: int) -> str:
    """Return what happened to the camera after an entry."""
    gone = {entry.fact.number for entry in run.entries if isinstance(entry.fact, Struck)}
    whys = [
        entry.fact.why
        for entry in run.entries
        if isinstance(entry.fact, CameraDisturbed)
        and entry.number > number
        and entry.number not in gone
    ]
    return whys[0] if whys and whys[0] else "the camera was moved"
