"""A run: what the facts come down to. `fold` is pure, and cheap enough to call at each fact."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from app.job.facts import (
    CameraDisturbed,
    Entered,
    Entry,
    Exported,
    Fact,
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
from app.job.observations import Evidence, MachineFigures, Observation, number_pickups
from app.job.profile import Profile


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """A sighting as it stands now.

    Attributes
    ----------
    number, at
        Its entry in the run.
    seen
        The fact, with the position as it was last typed.
    typed_first
        The position as it was typed first, where it was retyped since; else None.
    struck
        Whether it was struck out.
    outdated
        Whether the camera was disturbed since, so that it no longer compares.
    homed_before
        Whether the machine was homed between the sighting before and this one.
    """

    number: int
    at: str
    seen: Sighted
    typed_first: Position | None
    struck: bool
    outdated: bool
    homed_before: bool

    @property
    def counts(self) -> bool:
        """Whether it enters the offsets."""
        return not (self.struck or self.outdated)


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A snapshot of a run: everything that a screen or a next step needs.

    Attributes
    ----------
    started
        The first fact: machine, camera, mode.
    entries
        All facts so far.
    sightings
        All sightings as they stand, struck and outdated ones too.
    prepared
        What was ticked of the preparation.
    mirrored
        What the person said of a mirrored picture; None when not asked.
    homed_since_sighting
        Whether the machine was homed after the last sighting.
    exported
        The last export that is still true, or None when facts came since.
    entered
        Tools whose new offset was entered after that export.
    """

    started: RunStarted
    entries: tuple[Entry, ...]
    sightings: tuple[Sighting, ...]
    prepared: frozenset[str]
    mirrored: bool | None
    homed_since_sighting: bool
    exported: Exported | None
    entered: frozenset[int]

    @property
    def profile(self) -> Profile:
        """The machine as it was known when the run began."""
        return self.started.profile

    def scale_sightings(self) -> tuple[Sighting, ...]:
        """Return the sightings that count for the pixel scale."""
        return self._counting(Purpose.SCALE)

    def tool_sightings(self, tool: int | None = None) -> tuple[Sighting, ...]:
        """Return the sightings that count for offsets, of one tool or of all."""
        counting = self._counting(Purpose.TOOL)
        return tuple(s for s in counting if tool is None or s.seen.tool == tool)

    def last_counting(self) -> Sighting | None:
        """Return the last sighting that counts, of either purpose."""
        return next((s for s in reversed(self.sightings) if s.counts), None)

    def evidence(self) -> Evidence:
        """Return what the offsets are worked out from."""
        return Evidence(
            reference_tool=self.profile.reference_tool,
            figures=MachineFigures.of(self.profile),
            scale_jogs=_observations(self.sightings, Purpose.SCALE),
            sightings=_observations(self.sightings, Purpose.TOOL),
        )

    def _counting(self, purpose: Purpose) -> tuple[Sighting, ...]:
        return tuple(s for s in self.sightings if s.counts and s.seen.purpose is purpose)


def fold(entries: Sequence[Entry]) -> Run:
    """Return what the facts come down to.

    Raises
    ------
    ValueError
        When the first fact is not `RunStarted`, or numbers do not grow.
    """
    if not entries or not isinstance(entries[0].fact, RunStarted):
        raise ValueError("a run begins with RunStarted")
    numbers = [entry.number for entry in entries]
    if sorted(set(numbers)) != numbers:
        raise ValueError("the numbers of a run's entries have to grow")
    struck = _struck_numbers(entries)
    live = [entry for entry in entries if entry.number not in struck]
    exported, entered = _exported(live)
    return Run(
        started=entries[0].fact,
        entries=tuple(entries),
        sightings=_sightings(entries, struck),
        prepared=frozenset(
            name for entry in live if isinstance(entry.fact, Prepared) for name in entry.fact.ticked
        ),
        mirrored=_last_mirrored(live),
        homed_since_sighting=_homed_last(live),
        exported=exported,
        entered=entered,
    )


def undo(run: Run) -> Fact | None:
    """Return the fact that takes the last thing back; None when there is nothing to take back.

    A struck entry comes back, anything else is struck out. What started the run
    stays, and so does what was exported: it may be in the machine already.
    """
    struck = _struck_numbers(run.entries)
    done: list[Entry] = []
    for entry in run.entries:
        fact = entry.fact
        if isinstance(fact, Struck) and fact.why == UNDONE:
            done = [other for other in done if other.number != fact.number]
        elif isinstance(fact, Restored):
            done = _without_last_strike(done, fact.number)
        elif not isinstance(fact, RunStarted | Exported):
            done.append(entry)
    for entry in reversed(done):
        fact = entry.fact
        if isinstance(fact, Struck):
            if fact.number in struck:
                return Restored(number=fact.number)
        elif entry.number not in struck:
            return Struck(number=entry.number, why=UNDONE)
    return None


UNDONE = "undone"


def _without_last_strike(done: list[Entry], number: int) -> list[Entry]:
    """Forget the strike that an entry's restoring took back."""
    strikes = [
        at
        for at, entry in enumerate(done)
        if isinstance(entry.fact, Struck) and entry.fact.number == number
    ]
    return done if not strikes else [*done[: strikes[-1]], *done[strikes[-1] + 1 :]]


def _struck_numbers(entries: Sequence[Entry]) -> frozenset[int]:
    struck: set[int] = set()
    for entry in entries:
        if isinstance(entry.fact, Struck):
            struck.add(entry.fact.number)
        elif isinstance(entry.fact, Restored):
            struck.discard(entry.fact.number)
    return frozenset(struck)


def _sightings(entries: Sequence[Entry], struck: frozenset[int]) -> tuple[Sighting, ...]:
    retyped = {
        entry.fact.number: entry.fact.position
        for entry in entries
        if isinstance(entry.fact, Retyped) and entry.number not in struck
    }
    disturbed = [
        entry.number
        for entry in entries
        if isinstance(entry.fact, CameraDisturbed) and entry.number not in struck
    ]
    last_disturbed = max(disturbed, default=0)
    found: list[Sighting] = []
    homed = False
    for entry in entries:
        fact = entry.fact
        if isinstance(fact, Homed) and entry.number not in struck:
            homed = True
        if not isinstance(fact, Sighted):
            continue
        position = retyped.get(entry.number)
        found.append(
            Sighting(
                number=entry.number,
                at=entry.at,
                seen=fact if position is None else _at_position(fact, position),
                typed_first=None if position is None else fact.position,
                struck=entry.number in struck,
                outdated=entry.number < last_disturbed,
                homed_before=homed,
            )
        )
        homed = False
    return tuple(found)


def _at_position(seen: Sighted, position: Position) -> Sighted:
    return replace(seen, position=position)


def _last_mirrored(live: Sequence[Entry]) -> bool | None:
    said = [entry.fact.mirrored for entry in live if isinstance(entry.fact, MirrorAccepted)]
    return said[-1] if said else None


def _homed_last(live: Sequence[Entry]) -> bool:
    for entry in reversed(live):
        if isinstance(entry.fact, Sighted | Homed):
            return isinstance(entry.fact, Homed)
    return False


def _exported(live: Sequence[Entry]) -> tuple[Exported | None, frozenset[int]]:
    """Return the last export unless later facts change the numbers, and what was entered since."""
    exported: Exported | None = None
    entered: set[int] = set()
    for entry in live:
        fact = entry.fact
        if isinstance(fact, Exported):
            exported, entered = fact, set()
        elif isinstance(fact, Entered):
            entered.add(fact.tool)
        elif isinstance(fact, Sighted | CameraDisturbed | Retyped | Struck | Restored):
            exported, entered = None, set()
    return exported, frozenset(entered)


def _observations(sightings: Sequence[Sighting], purpose: Purpose) -> tuple[Observation, ...]:
    """Return what counts; pick-ups are numbered before what was struck is left out."""
    pickups = number_pickups(
        tuple(s.seen.tool for s in sightings), tuple(s.homed_before for s in sightings)
    )
    return tuple(
        Observation(
            path=f"entry {s.number}",
            tool=s.seen.tool,
            shown_mm=s.seen.position,
            in_display_mm=s.seen.in_display_mm,
            approach=s.seen.approach,
            centre_px=s.seen.centre_px,
            temporal_cov_px2=s.seen.temporal_cov_px2,
            static_cov_px2=s.seen.static_cov_px2,
            radius_px=s.seen.radius_px,
            blur_px=s.seen.blur_px,
            rim=s.seen.rim,
            pickup=pickup,
        )
        for s, pickup in zip(sightings, pickups, strict=True)
        if s.counts and s.seen.purpose is purpose
    )
