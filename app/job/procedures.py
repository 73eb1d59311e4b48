"""Automatic work: short procedures that yield requests and receive replies.

Nothing here touches a device: a runner carries the requests out, on a machine or
on the bench, and a test answers them from a list. Each procedure ends in facts.
Nothing that a procedure knows is needed to go on: after a stop the run is folded
and the next step chosen again.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass, replace

from app.job.facts import (
    Approach,
    Entered,
    Exported,
    Fact,
    Homed,
    MirrorAccepted,
    Position,
    Prepared,
    Purpose,
    RunStarted,
    Sighted,
)
from app.job.interfaces import Picture
from app.job.jogs import OVERSHOOT_MM, WANTED, rounded_step
from app.job.live import Correction, Seen, correction, correction_towards
from app.job.run import Run
from app.job.sheet import (
    ConfirmMirror,
    HomeFirst,
    Prepare,
    SightScale,
    SightTool,
    Step,
)
from app.job.snapshot import Snapshot, in_display_mm
from vision.bore import (
    ALGORITHM,
    BoreFit,
    BoreRefusal,
    BurstFit,
    SeenRim,
    mean_rim,
    rim_of,
)
from vision.focus import FocusPeak, focus_peak


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """Move the named axes to shown coordinates in mm, and let it settle. Reply: Arrived."""

    x: float | None = None
    y: float | None = None
    z: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeTool:
    """Make a tool the active one. Reply: Arrived."""

    tool: int


@dataclass(frozen=True, slots=True, kw_only=True)
class HomeAll:
    """Home the machine. Reply: Arrived."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """Look once, at a frame taken from now on. Reply: Looked.

    Attributes
    ----------
    find
        Whether to find the bore; how sharp the picture is, is told in any case.
    """

    find: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeBurst:
    """Take a burst of frames from now on. Reply: Burst."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """Write a fact, pictures first. Reply: Recorded."""

    fact: Fact
    pictures: tuple[Picture, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrived:
    """Motion has ended, and the display shows this."""

    shown: Position


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """What one frame showed: the bore, or how sharp it was (any unit; larger is sharper).

    One of the two is None: `seen` where the bore was not to be found, `sharpness` where it
    was, since it takes longer than the finder.
    """

    seen: Seen | None
    sharpness: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Burst:
    """What a burst of frames gave, and the pictures to keep."""

    fit: BurstFit | BoreRefusal
    pictures: tuple[Picture, ...]
    picture_size_px: tuple[int, int]
    camera_generation: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """The fact is on disk."""


Request = Move | TakeTool | HomeAll | Look | TakeBurst | Record
Reply = Arrived | Looked | Burst | Recorded


@dataclass(frozen=True, slots=True, kw_only=True)
class ProcedureSettings:
    """How automatic work goes about it.

    Attributes
    ----------
    clearance_mm
        How far Z is lifted before a tool change, homing or a long way (30 mm is
        common practice, no source).
    close_mm
        A nozzle nearer to the target than this is sighted where it stands.
    tries
        How often to correct before giving up.
    coarse_mm, fine_mm
        Reach and step of the two focus sweeps.
    """

    clearance_mm: float = 30.0
    close_mm: float = 0.05
    tries: int = 6
    coarse_mm: tuple[float, float] = (0.8, 0.2)
    fine_mm: tuple[float, float] = (0.15, 0.05)


@dataclass(frozen=True, slots=True, kw_only=True)
class GaveUp:
    """A procedure could not do its step: why, and what a person can do."""

    message: str
    remedy: str


Procedure = Generator[Request, Reply, GaveUp | None]

DEFAULT_PROCEDURES = ProcedureSettings()


def carry_out(
    step: Step,
    snapshot: Snapshot,
    *,
    start: Position,
    settings: ProcedureSettings = DEFAULT_PROCEDURES,
) -> Procedure:
    """Return the procedure for a step.

    Parameters
    ----------
    step, snapshot
        What is next, the run, and what was worked out from it.
    start
        Where the reference nozzle is over the camera, as the display shows it.
    """
    run = snapshot.run
    match step:
        case Prepare(left=left):
            return _record(Prepared(ticked=left))
        case SightScale():
            return _sight_scale(step, run, start, settings)
        case ConfirmMirror():
            return _record(MirrorAccepted(mirrored=True))
        case HomeFirst(tool=tool):
            return _home(tool, run, start, settings)
        case SightTool():
            return _sight_tool(step, snapshot, start, settings)
        case _:
            return _give_up(step)


def _record(*facts: Fact) -> Procedure:
    for fact in facts:
        yield Record(fact=fact)
    return None


def _give_up(step: Step) -> Procedure:
    yield from ()
    return GaveUp(
        message=f"The step {type(step).__name__} needs a person.",
        remedy="Look at the run and decide.",
    )


def _home(tool: int, run: Run, start: Position, settings: ProcedureSettings) -> Procedure:
    yield from _lift(run, start, settings)
    yield HomeAll()
    yield Record(fact=Homed(tool=tool))
    return None


def _sight_scale(
    step: SightScale, run: Run, start: Position, settings: ProcedureSettings
) -> Procedure:
    place = step.expected or start
    if active_tool(run) != step.tool:
        yield from _take_over(step.tool, place, run, start, settings)
    arrived = yield from _go(place, run)
    if step.expected is None:
        yield from _focus(_z_of(arrived.shown), settings)
    shown = yield from _shown()
    return (yield from _sight(Purpose.SCALE, step.tool, run, shown))


def _sight_tool(
    step: SightTool, snapshot: Snapshot, start: Position, settings: ProcedureSettings
) -> Procedure:
    run = snapshot.run
    place = step.expected or start
    if active_tool(run) != step.tool:
        yield from _take_over(step.tool, place, run, start, settings)
        yield from _focus(_z_of(place), settings)
    else:
        yield from _go(place, run)
    gave_up = yield from _bring(snapshot, settings)
    if gave_up is not None:
        return gave_up
    shown = yield from _shown()
    return (yield from _sight(Purpose.TOOL, step.tool, run, shown))


def active_tool(run: Run) -> int | None:
    """Return the tool that the machine is sure to have over the camera; None when unsure.

    A procedure that was stopped after a tool change leaves no fact of it. So only the
    last sighting tells, and no longer when the machine was homed or a person stepped
    in since. Before the first sighting it is the reference, which a person brought
    there.
    """
    for entry in reversed(run.entries):
        match entry.fact:
            case Sighted(tool=tool):
                return tool
            case RunStarted() | Prepared() | MirrorAccepted() | Exported() | Entered():
                continue
            case _:
                return None
    return run.profile.reference_tool


def _lift(
    run: Run, start: Position, settings: ProcedureSettings
) -> Generator[Request, Reply, float]:
    """Lift Z clear of the camera, and never lower it; returns the height."""
    here = _z_of((yield from _shown()))
    seen = _z_of(run.sightings[-1].seen.position if run.sightings else start)
    clear = seen + settings.clearance_mm
    if run.profile.travel_mm is not None:
        clear = min(clear, run.profile.travel_mm[2][1])
    lifted = max(here, clear)
    yield Move(z=lifted)
    return lifted


def _take_over(
    tool: int, place: Position, run: Run, start: Position, settings: ProcedureSettings
) -> Generator[Request, Reply, None]:
    """Lift, take the tool, go above the place, then come down to it."""
    lifted = yield from _lift(run, start, settings)
    reply = yield TakeTool(tool=tool)
    assert isinstance(reply, Arrived)
    above = max(lifted, _z_of(reply.shown))
    yield from _go(Position(place.x, place.y, above), run)
    yield Move(z=_z_of(place))


def _go(place: Position, run: Run) -> Generator[Request, Reply, Arrived]:
    """Go to a place so that both axes end growing, past and back where they would not."""
    step = run.profile.display_step_mm
    yield Move(
        x=rounded_step(place.x - WANTED.x * OVERSHOOT_MM, step),
        y=rounded_step(place.y - WANTED.y * OVERSHOOT_MM, step),
        z=place.z,
    )
    reply = yield Move(x=place.x, y=place.y)
    assert isinstance(reply, Arrived)
    return reply


def _shown() -> Generator[Request, Reply, Position]:
    """Ask for the present place by moving nowhere."""
    reply = yield Move()
    assert isinstance(reply, Arrived)
    return reply.shown


def _bring(
    snapshot: Snapshot, settings: ProcedureSettings
) -> Generator[Request, Reply, GaveUp | None]:
    """Bring the bore near the target, if there is one to bring it to."""
    if snapshot.target_px is None:
        return None
    refused: BoreRefusal | None = None
    for _ in range(settings.tries):
        looked = yield Look()
        assert isinstance(looked, Looked)
        assert looked.seen is not None
        fix = _correction(snapshot, looked.seen)
        if fix is None:
            refused = looked.seen.fit if isinstance(looked.seen.fit, BoreRefusal) else None
            break
        if isinstance(looked.seen.fit, BoreFit) and _is_near(fix, settings):
            return None
        here = yield from _shown()
        yield from _go(fix.plan.to(here), snapshot.run)
    if refused is not None:
        return GaveUp(message=refused.message, remedy=refused.remedy)
    return GaveUp(
        message=f"The nozzle did not come nearer than {settings.close_mm:g} mm to the target.",
        remedy="See that the machine moves as its display says, then try again.",
    )


def _is_near(fix: Correction, settings: ProcedureSettings) -> bool:
    """Whether there is nothing to gain by a jog: a coarse display may offer none."""
    return fix.distance_mm < settings.close_mm or fix.plan.step_mm == (0.0, 0.0)


def _correction(snapshot: Snapshot, seen: Seen) -> Correction | None:
    if isinstance(seen.fit, BoreRefusal):
        return correction_towards(snapshot, seen.fit, arrived=WANTED)
    return correction(snapshot, seen, arrived=WANTED)


def _focus(z_mm: float, settings: ProcedureSettings) -> Generator[Request, Reply, None]:
    """Find the sharpest height in two sweeps, and stop there, coming from below."""
    best = yield from _sweep(z_mm, *settings.coarse_mm)
    best = yield from _sweep(best, *settings.fine_mm)
    yield Move(z=round(best - settings.fine_mm[1], 3))
    yield Move(z=round(best, 3))


def _sweep(z_mm: float, reach_mm: float, step_mm: float) -> Generator[Request, Reply, float]:
    count = round(reach_mm / step_mm)
    heights = [round(z_mm + i * step_mm, 4) for i in range(-count, count + 1)]
    sharpness: list[float] = []
    for height in heights:
        yield Move(z=height)
        looked = yield Look(find=False)
        assert isinstance(looked, Looked)
        assert looked.sharpness is not None
        sharpness.append(looked.sharpness)
    peak = focus_peak(heights, sharpness)
    if isinstance(peak, FocusPeak):
        return min(max(peak.z_mm, heights[0]), heights[-1])
    return heights[sharpness.index(max(sharpness))]


def _sight(purpose: Purpose, tool: int, run: Run, shown: Position) -> Procedure:
    burst = yield TakeBurst()
    assert isinstance(burst, Burst)
    if isinstance(burst.fit, BoreRefusal):
        return GaveUp(message=burst.fit.message, remedy=burst.fit.remedy)
    fact = sighted_fact(purpose, tool, run, shown, WANTED, burst, burst.fit)
    yield Record(fact=fact, pictures=burst.pictures)
    return None


def sighted_fact(
    purpose: Purpose,
    tool: int,
    run: Run,
    shown: Position,
    approach: Approach,
    burst: Burst,
    fit: BurstFit,
) -> Sighted:
    """Return the fact that a burst at a position comes down to."""
    used = set(fit.frames_used)
    return Sighted(
        purpose=purpose,
        tool=tool,
        position=shown,
        in_display_mm=in_display_mm(run.profile, tool),
        approach=approach,
        centre_px=fit.centre_px,
        temporal_cov_px2=fit.temporal_cov_px2,
        static_cov_px2=fit.static_cov_px2,
        radius_px=fit.radius_px,
        blur_px=fit.blur_px,
        frame_centres_px=tuple(
            one.centre_px if isinstance(one, BoreFit) and i in used else None
            for i, one in enumerate(fit.fits)
        ),
        picture_size_px=burst.picture_size_px,
        camera_generation=burst.camera_generation,
        algorithm=ALGORITHM,
        rim=_rim_of_burst(fit),
    )


def _rim_of_burst(fit: BurstFit) -> SeenRim | None:
    """Return the rim that the frames used have in common; their centre is the burst's."""
    used = [rim_of(one) for i in fit.frames_used if isinstance(one := fit.fits[i], BoreFit)]
    return replace(mean_rim(used), sigma_px=fit.cov_px2.sigma_px) if used else None


def _z_of(position: Position) -> float:
    """Automatic work needs heights; a link always reads one."""
    if position.z is None:
        raise ValueError("automatic work needs a position with z")
    return position.z
