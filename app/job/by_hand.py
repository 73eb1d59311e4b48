"""What a person types while doing a run by hand, and whether the picture agrees.

Pure: the texts of the fields, the run and the newest picture in; the place, and what
is to be said about it, out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

from app.job.coordinates import parse_coordinate, sum_exact
from app.job.facts import UNKNOWN, Approach, Position, PositionMode
from app.job.jogs import WANTED, JogPlan, decimals_of
from app.job.live import Seen
from app.job.picture_check import AxisSaid, Said, ask_picture
from app.job.places import mode_problem, position_problem
from app.job.run import Run
from app.job.sheet import SightScale, SightTool, Step, next_step
from app.job.snapshot import Snapshot, in_display_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """The texts of the fields as they stand.

    Attributes
    ----------
    x, y, z
        What the display shows; in a run of jogs only, the jog that was made since
        the last sighting. Empty where nothing was typed.
    last_jogs_plus
        Whether the last jog of X and of Y was a plus, as is asked for.
    """

    x: str = ""
    y: str = ""
    z: str = ""
    last_jogs_plus: bool = True


class Agreement(StrEnum):
    """What the picture says of a typed number."""

    UNKNOWN = "unknown"
    """Nothing can be told from the picture yet."""
    AGREES = "agrees"
    DOUBTFUL = "doubtful"


@dataclass(frozen=True, slots=True, kw_only=True)
class AxisEntry:
    """One field.

    Attributes
    ----------
    axis
        "X", "Y" or "Z".
    text
        As typed.
    value_mm
        What it says; None when empty or no number.
    problem
        What is wrong with it, in a sentence; None when nothing is.
    agreement, picture_says_mm
        What the picture says of it, and the value that the picture suggests, in
        steps of the display; None where the picture tells nothing.
    """

    axis: str
    text: str
    value_mm: float | None
    problem: str | None
    agreement: Agreement
    picture_says_mm: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceEntry:
    """All fields together.

    Attributes
    ----------
    axes
        X and Y, and Z where it is asked for.
    as_jogs
        Whether the fields hold jogs (a run of jogs only) or what the display shows.
    place
        Where the machine is, when the fields say so without a problem; else None.
    approach
        From which side it was reached.
    problem
        The first thing that keeps a sighting from being taken here; None when nothing does.
    doubt
        One sentence where the picture disagrees: "X reads 150.43; the picture says
        150.34."; None when it does not.
    """

    axes: tuple[AxisEntry, ...]
    as_jogs: bool
    place: Position | None
    approach: Approach
    problem: str | None
    doubt: str | None


def prefilled(step: Step, snapshot: Snapshot) -> Typed:
    """Return what the fields start with: where the machine will be if all goes as asked.

    Jogs are counted from the first sighting on: before it there is nothing to type.
    """
    if isinstance(step, SightScale) and _counts_jogs(snapshot.run) and not snapshot.run.sightings:
        return Typed(x="0", y="0")
    expected = step.expected if isinstance(step, SightScale | SightTool) else None
    if expected is None:
        return Typed()
    typed = _typed_at(expected, snapshot.run)
    if not _asks_z(step, snapshot.run):
        return typed
    return replace(typed, z=_shown(expected.z, snapshot.run))


def same_as_reference(step: Step, snapshot: Snapshot) -> Typed | None:
    """Return fields for a head that stands where the reference was sighted first.

    A display that counts a tool's offset in shows another number for each tool at one
    place of the head. Before that sighting it is the start of the jogs. None where
    there was neither, or no place is asked for.
    """
    run = snapshot.run
    seen = run.tool_sightings(run.profile.reference_tool) or run.scale_sightings()
    if not seen or not isinstance(step, SightScale | SightTool):
        return None
    first = seen[0].seen
    d = in_display_mm(run.profile, step.tool)
    place = first.position._replace(
        x=sum_exact(sum_exact(first.position.x, -first.in_display_mm.x), d.x),
        y=sum_exact(sum_exact(first.position.y, -first.in_display_mm.y), d.y),
    )
    return replace(_typed_at(place, run), z=prefilled(step, snapshot).z)


def after_jogs_made(typed: Typed, plan: JogPlan, snapshot: Snapshot) -> Typed:
    """Return the fields after the jogs of a plan were made.

    A plan of the run sheet starts at the place that was sighted last, a correction at
    the place that the fields name.
    """
    step, run = next_step(snapshot), snapshot.run
    start = prefilled(step, snapshot)
    if isinstance(step, SightScale):
        made = start
        if _counts_jogs(run):
            made = _typed_xy(plan.step_mm.x, plan.step_mm.y, run)
    else:
        here = Position(_number_in(typed.x, start.x, run), _number_in(typed.y, start.y, run))
        there = plan.to(here)
        made = _typed_xy(there.x, there.y, run)
    return replace(made, z=typed.z, last_jogs_plus=plan.approach == WANTED)


def taking_the_pictures(typed: Typed, entry: PlaceEntry, snapshot: Snapshot) -> Typed:
    """Return the fields with what the picture suggests, where it does not agree with them."""
    taken = {
        axis.axis: _shown(axis.picture_says_mm, snapshot.run)
        for axis in entry.axes
        if axis.picture_says_mm is not None and axis.agreement is not Agreement.AGREES
    }
    x, y, z = taken.get("X", typed.x), taken.get("Y", typed.y), taken.get("Z", typed.z)
    return replace(typed, x=x, y=y, z=z)


def read_place(
    step: SightScale | SightTool, snapshot: Snapshot, typed: Typed, seen: Seen | None
) -> PlaceEntry:
    """Return what the fields say, and whether the picture agrees.

    Parameters
    ----------
    step, snapshot
        What is asked for, and the run.
    typed
        The fields.
    seen
        The finder's newest answer; where it is a refusal, the picture tells nothing.
    """
    run = snapshot.run
    x, y = (_field(axis, text, run) for axis, text in (("X", typed.x), ("Y", typed.y)))
    base = _stands(run) if _counts_jogs(run) else Position(0.0, 0.0)
    typed_mm = _plus(x.value_mm, base.x), _plus(y.value_mm, base.y)
    approach = _approach(run, step, typed, typed_mm)
    said = ask_picture(step, snapshot, typed_mm, approach, seen)
    height = _height(typed.z, run) if _asks_z(step, run) else None
    axes = (_judged(x, said.x, base.x), _judged(y, said.y, base.y), *([height] if height else []))
    place: Position | None = None
    if typed_mm[0] is not None and typed_mm[1] is not None:
        place = Position(typed_mm[0], typed_mm[1], _height_at(step, run, height))
        axes = _with_impossible(axes, place, run)
    problem = mode_problem(run.profile, run.started.mode) or next(
        (axis.problem for axis in axes if axis.problem is not None), None
    )
    return PlaceEntry(
        axes=axes,
        as_jogs=_counts_jogs(run),
        place=place if problem is None else None,
        approach=approach,
        problem=problem,
        doubt=_doubt(axes, said, run),
    )


def _counts_jogs(run: Run) -> bool:
    return run.started.mode is PositionMode.JOGS_ONLY


def _stands(run: Run) -> Position:
    """Return where jogs are counted from: the last sighting, whether it counts or not.

    A sighting that was struck out did not move the machine back.
    """
    return run.sightings[-1].seen.position if run.sightings else Position(0.0, 0.0)


def _asks_z(step: Step, run: Run) -> bool:
    """Whether the height is asked for: once, or at each tool where heights are wanted."""
    if _counts_jogs(run):
        return False
    if isinstance(step, SightScale):
        return step.plan is None
    return isinstance(step, SightTool) and run.profile.z_by_focus


def _field(axis: str, text: str, run: Run) -> AxisEntry:
    """Return X or Y as typed. Before the first sighting jogs need not be counted."""
    value: float | str
    if not text.strip() and _counts_jogs(run):
        value = 0.0 if not run.sightings else f"Type the jog of {axis}; 0 if it did not move."
    elif not text.strip():
        value = f"Type {axis} as the display shows it."
    else:
        value = parse_coordinate(text, run.profile.display_step_mm)
    return _entry(axis, text, value)


def _height(text: str, run: Run) -> AxisEntry:
    value = parse_coordinate(text, run.profile.display_step_mm) if text.strip() else None
    return _entry("Z", text, value)


def _entry(axis: str, text: str, value: float | str | None) -> AxisEntry:
    return AxisEntry(
        axis=axis,
        text=text,
        value_mm=None if isinstance(value, str) else value,
        problem=value if isinstance(value, str) else None,
        agreement=Agreement.UNKNOWN,
        picture_says_mm=None,
    )


_AGREEMENTS = {None: Agreement.UNKNOWN, True: Agreement.AGREES, False: Agreement.DOUBTFUL}


def _judged(entry: AxisEntry, said: AxisSaid, base_mm: float) -> AxisEntry:
    return replace(
        entry,
        agreement=_AGREEMENTS[said.agrees],
        picture_says_mm=_plus(said.says_mm, -base_mm),
    )


def _with_impossible(
    axes: tuple[AxisEntry, ...], place: Position, run: Run
) -> tuple[AxisEntry, ...]:
    """Say of which axis the display cannot show this; sums of jogs may start anywhere."""
    profile = replace(run.profile, travel_mm=None) if _counts_jogs(run) else run.profile
    problem = position_problem(profile, place)
    if problem is None:
        return axes
    # The sentence begins with the axis that it is about.
    return tuple(
        replace(axis, problem=problem) if problem.startswith(axis.axis) else axis for axis in axes
    )


def _height_at(step: SightScale | SightTool, run: Run, asked: AxisEntry | None) -> float | None:
    """Return Z: as typed where it is asked for, as it was where the same tool stays.

    Another tool is brought to its own focus, and its height is told by nobody who was
    not asked.
    """
    if asked is not None:
        return asked.value_mm
    if step.expected is None or step.tool != run.profile.reference_tool:
        return None
    return step.expected.z


def _approach(
    run: Run, step: SightScale | SightTool, typed: Typed, place: tuple[float | None, float | None]
) -> Approach:
    """Return from which side the place was reached, as far as it is known.

    Where the last jogs were not both a plus, only one thing is sure: if one axis alone
    went, and down, in this pick-up, it came from above, and the other stayed as it was.
    """
    if typed.last_jogs_plus:
        return WANTED
    last = run.sightings[-1] if run.sightings else None
    x, y = place
    if last is None or last.seen.tool != step.tool or run.homed_since_sighting:
        return UNKNOWN
    if x is None or y is None:
        return UNKNOWN
    match _sign(x - last.seen.position.x), _sign(y - last.seen.position.y):
        case -1, 0:
            return Approach(-1, last.seen.approach.y)
        case 0, -1:
            return Approach(last.seen.approach.x, -1)
        case _:
            return UNKNOWN


def _sign(step_mm: float) -> int:
    return 0 if abs(step_mm) < 1e-9 else (1 if step_mm > 0.0 else -1)


def _doubt(axes: tuple[AxisEntry, ...], said: Said, run: Run) -> str | None:
    if said.sentence is not None:
        return said.sentence
    doubtful = [a for a in axes if a.agreement is Agreement.DOUBTFUL]
    if not doubtful:
        return None
    read = " and ".join(f"{a.axis} reads {_shown(a.value_mm, run)}" for a in doubtful)
    if len(doubtful) == 1:
        return f"{read}; the picture says {_shown(doubtful[0].picture_says_mm, run)}."
    says = " and ".join(f"{a.axis} {_shown(a.picture_says_mm, run)}" for a in doubtful)
    return f"{read}; the picture says {says}."


def _typed_at(place: Position, run: Run) -> Typed:
    """Return the fields that name a place; in a run of jogs, the jog that leads there."""
    if not _counts_jogs(run):
        return _typed_xy(place.x, place.y, run)
    base = _stands(run)
    return _typed_xy(sum_exact(place.x, -base.x), sum_exact(place.y, -base.y), run)


def _typed_xy(x_mm: float, y_mm: float, run: Run) -> Typed:
    return Typed(x=_shown(x_mm, run), y=_shown(y_mm, run))


def _shown(value_mm: float | None, run: Run) -> str:
    """Return a number as the display shows it, a jog with its sign."""
    if value_mm is None:
        return ""
    decimals = decimals_of(run.profile.display_step_mm)
    rounded = round(value_mm, decimals) + 0.0
    return f"{rounded:+.{decimals}f}" if _counts_jogs(run) else f"{rounded:.{decimals}f}"


def _number_in(text: str, otherwise: str, run: Run) -> float:
    """Return what a field says, or what it was filled in with where it says no number."""
    for one in (text, otherwise):
        value = parse_coordinate(one, run.profile.display_step_mm)
        if isinstance(value, float):
            return value
    return 0.0


def _plus(value_mm: float | None, base_mm: float) -> float | None:
    return None if value_mm is None else sum_exact(value_mm, base_mm)
