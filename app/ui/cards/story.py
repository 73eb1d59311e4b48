"""What happened to sightings in a run, told in order and in words. No Qt in here."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import tzinfo
from string import ascii_lowercase
from typing import assert_never

from app.job.facts import (
    CameraDisturbed,
    Entered,
    Entry,
    Exported,
    Homed,
    MirrorAccepted,
    Position,
    Prepared,
    Purpose,
    Restored,
    Retyped,
    RunStarted,
    Sighted,
    Struck,
)
from app.job.jogs import decimals_of
from app.job.run import UNDONE, Run, fold
from app.ui.cards.figures import clock_words, place_words


def story_of(run: Run, purpose: Purpose, tool: int, zone: tzinfo | None = None) -> tuple[str, ...]:
    """Return the facts that are about a tool's sightings, or the pixel scale's, in words.

    Parameters
    ----------
    purpose, tool
        Which sightings. Homing and entering are told for `Purpose.TOOL` only, the
        answer about mirroring for `Purpose.SCALE`.
    zone
        Of the times; by default that of this computer.
    """
    own = {
        entry.number
        for entry in run.entries
        if isinstance(entry.fact, Sighted)
        and entry.fact.purpose is purpose
        and entry.fact.tool == tool
    }
    gone = _taken_back(run)
    told = (
        (entry, _said(run, entry, own, purpose, tool))
        for entry in run.entries
        if entry.number not in gone or isinstance(entry.fact, Sighted | Retyped)
    )
    return tuple(f"{clock_words(entry.at, zone)}  {said}" for entry, said in told if said)


def _said(run: Run, entry: Entry, own: set[int], purpose: Purpose, tool: int) -> str:
    fact = entry.fact
    decimals = decimals_of(run.profile.display_step_mm)
    match fact:
        case Sighted(position=position):
            return f"sighted at {place_words(position, decimals)}" if entry.number in own else ""
        case Retyped(number=number, position=position):
            if number not in own:
                return ""
            was = place_words(_place_before(run, entry), decimals)
            return f"{_which(run, number)} retyped from {was} to {place_words(position, decimals)}"
        case Struck(number=number, why=why):
            return _struck_said(run, number, why, own)
        case Restored(number=number):
            return f"{_which(run, number)} counts again" if number in own else ""
        case Homed(tool=homed):
            return "homed" if purpose is Purpose.TOOL and homed == tool else ""
        case Entered(tool=entered):
            is_own = purpose is Purpose.TOOL and entered == tool
            return "its new offset was entered" if is_own else ""
        case CameraDisturbed(why=why):
            before = any(number < entry.number for number in own)
            return f"camera disturbed: {why or 'it was moved'}" if before else ""
        case MirrorAccepted(mirrored=mirrored):
            said = "mirrored" if mirrored else "not mirrored"
            return f"you said: the picture is {said}" if purpose is Purpose.SCALE else ""
        case RunStarted() | Prepared() | Exported():
            return ""
        case _:
            assert_never(fact)


def _struck_said(run: Run, number: int, why: str, own: set[int]) -> str:
    """Tell of a strike; a fact about an own sighting that is struck was taken back."""
    if number in own:
        because = "taken back" if why == UNDONE else f"struck: {why or 'no reason given'}"
        return f"{_which(run, number)} {because}"
    target = next((e.fact for e in run.entries if e.number == number), None)
    if isinstance(target, Retyped) and target.number in own:
        return f"{_which(run, target.number)}: the retyping was taken back"
    return ""


def _which(run: Run, number: int) -> str:
    """Name a sighting as the table calls it."""
    return f"no. {labels_of(run).get(number, str(number))}"


def labels_of(run: Run) -> Mapping[int, str]:
    """Return what each sighting is called in tables, plots and words, by its entry number.

    A tool's sightings are counted through. Jogs that count are 1, 2, 3 ...: sentences
    about "the 4th position" count them alone. Jogs that do not count are a, b, c ...
    """
    made: dict[tuple[Purpose, int, bool], int] = {}
    labels: dict[int, str] = {}
    for s in run.sightings:
        is_lettered = s.seen.purpose is Purpose.SCALE and not s.counts
        kind = (s.seen.purpose, s.seen.tool, is_lettered)
        at = made.get(kind, 0)
        made[kind] = at + 1
        labels[s.number] = _letter(at) if is_lettered else str(at + 1)
    return labels


def _letter(at: int) -> str:
    """Return a, b ... z, then aa, bb ..."""
    rounds, letter = divmod(at, len(ascii_lowercase))
    return ascii_lowercase[letter] * (rounds + 1)


def _place_before(run: Run, retyping: Entry) -> Position:
    """Return the position of a sighting as it stood before it was retyped."""
    fact = retyping.fact
    before = fold([entry for entry in run.entries if entry.number < retyping.number])
    return next(
        s.seen.position
        for s in before.sightings
        if isinstance(fact, Retyped) and s.number == fact.number
    )


def _taken_back(run: Run) -> set[int]:
    """Return the numbers of entries that were struck and not restored."""
    gone: set[int] = set()
    for entry in run.entries:
        if isinstance(entry.fact, Struck):
            gone.add(entry.fact.number)
        elif isinstance(entry.fact, Restored):
            gone.discard(entry.fact.number)
    return gone
