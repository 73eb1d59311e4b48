"""The run sheet: what comes next. A pure function of the run; a person or a procedure does it."""

from __future__ import annotations

from dataclasses import dataclass

from app.dialects import dialect_named
from app.job.checks import Finding, doubt_words
from app.job.facts import Position, PositionMode
from app.job.jogs import JogPlan, decimals_of, plan_jog, rounded_step
from app.job.profile import Profile
from app.job.run import Run, Sighting
from app.job.snapshot import Snapshot, expected_vector_mm, in_display_mm
from vision.geometry import PointMm
from vision.pixel_scale import DoubtfulEntry, PixelScale, ScaleRefusal

PREPARATION = (
    "nozzles-cold",
    "filament-back",
    "tips-brushed",
    "motors-on",
    "camera-fixed",
    "automatics-off",
)
"""What has to be ticked once a run (design: cold under 50 C, cable taped, automatic
focus, exposure and zoom off)."""

SCALE_JOGS = 6
"""A start and five jogs to the corners of a pentagon. Corners beat a cross, and more
than nine gains little; of a pentagon no three lie on a line and no two are opposite, so
that a wrong entry shows at its own place and not at another one too."""

_CORNERS = ((1.0, 0.0), (0.3, 0.95), (-0.8, 0.6), (-0.8, -0.6), (0.3, -0.95))
_LONGEST_JOG_MM = 1.0
_SHORTEST_JOG_MM = 0.1
_GRIDS_MM = ((0.3, 0.1), (0.15, 0.05))
"""From which length on corners lie on which grid: a person counts detents of a tenth."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Prepare:
    """Tick the preparation.

    Attributes
    ----------
    left
        What is not ticked yet.
    before
        What this firmware wants done before measuring, one sentence each.
    """

    left: tuple[str, ...]
    before: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SightScale:
    """Sight the reference tool for the pixel scale.

    Attributes
    ----------
    number, total
        Which of how many places.
    plan
        The jogs to the place; None at the start, which the person chooses.
    expected
        What the display should read there; None at the start.
    """

    tool: int
    number: int
    total: int
    plan: JogPlan | None
    expected: Position | None


@dataclass(frozen=True, slots=True, kw_only=True)
class MendScale:
    """The jogs do not give a pixel scale: retype or strike out an entry, or jog again.

    Attributes
    ----------
    refusal
        Why there is no scale; None when there is one that an entry disagrees with.
    doubtful
        The entries that disagree, with what the picture suggests.
    numbers
        Their entry numbers in the run, in the same order.
    """

    refusal: ScaleRefusal | None
    doubtful: tuple[DoubtfulEntry, ...]
    numbers: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ConfirmMirror:
    """The picture looks mirrored, or an axis was entered with the wrong sign: ask which."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HomeFirst:
    """Home the machine, with this tool, before it may be used."""

    tool: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SightTool:
    """Bring a tool to the target, or near it, and sight it.

    Attributes
    ----------
    closing
        The reference once more, at the end.
    expected
        What the display will read if the nozzle stands where it is expected;
        None when nothing is known.
    """

    tool: int
    closing: bool
    expected: Position | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Export:
    """All is sighted: take the offsets. What is said against them goes with them."""

    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class EnterOffsets:
    """The text was taken; say of each of these tools when it was entered."""

    tools: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """Nothing remains."""


Step = (
    Prepare
    | SightScale
    | MendScale
    | ConfirmMirror
    | HomeFirst
    | SightTool
    | Export
    | EnterOffsets
    | Done
)


def next_step(snapshot: Snapshot) -> Step:
    """Return what comes next in a run.

    Parameters
    ----------
    snapshot
        The run, and what was worked out from it (`snapshot_of`).
    """
    run = snapshot.run
    left = tuple(item for item in PREPARATION if item not in run.prepared)
    if left:
        return Prepare(left=left, before=dialect_named(run.profile.dialect).before_measuring)
    return _scale_step(snapshot) or _tool_step(run) or _closing_step(snapshot)


def visits(profile: Profile) -> tuple[int, ...]:
    """Return the tools in the order in which a whole run sights them.

    The reference stands before, between and after the rounds, so that each round
    takes its tools anew and shows whether anything moved.
    """
    others = [t.number for t in profile.tools if t.number != profile.reference_tool]
    one_round = (*others, profile.reference_tool)
    return (profile.reference_tool, *one_round * profile.sightings_per_tool)


def _scale_step(snapshot: Snapshot) -> Step | None:
    run = snapshot.run
    sightings = run.scale_sightings()
    if len(sightings) >= SCALE_JOGS - 1 and (mend := _mending(snapshot, sightings)) is not None:
        return mend
    if len(sightings) < SCALE_JOGS:
        return _next_scale_sighting(run, sightings)
    if isinstance(snapshot.scale, PixelScale) and snapshot.scale.mirrored and run.mirrored is None:
        return ConfirmMirror()
    return None


def _mending(snapshot: Snapshot, sightings: tuple[Sighting, ...]) -> MendScale | None:
    scale = snapshot.scale
    if isinstance(scale, PixelScale):
        refusal, doubtful = None, scale.doubtful
    elif isinstance(scale, ScaleRefusal):
        refusal, doubtful = scale, scale.doubtful
    else:
        return None
    if refusal is None and not doubtful:
        return None
    if refusal is not None and not doubtful and len(sightings) < SCALE_JOGS:
        # More jogs may yet tell; there is nothing to mend before all are made.
        return None
    return MendScale(
        refusal=refusal,
        doubtful=doubtful,
        numbers=tuple(sightings[entry.index].number for entry in doubtful),
    )


def _next_scale_sighting(run: Run, sightings: tuple[Sighting, ...]) -> SightScale:
    number = len(sightings) + 1
    tool = run.profile.reference_tool
    if not sightings:
        return SightScale(tool=tool, number=number, total=SCALE_JOGS, plan=None, expected=None)
    start = sightings[0].seen
    half = jog_length_mm(run.profile, start_of=sightings[0])
    corner = _free_corner(sightings, half, run.profile.display_step_mm)
    goal = PointMm(start.position.x + corner.x, start.position.y + corner.y)
    here = sightings[-1].seen
    plan = plan_jog(
        PointMm(goal.x - here.position.x, goal.y - here.position.y),
        display_step_mm=run.profile.display_step_mm,
        arrived=here.approach,
    )
    return SightScale(
        tool=tool, number=number, total=SCALE_JOGS, plan=plan, expected=plan.to(here.position)
    )


def jog_length_mm(profile: Profile, *, start_of: Sighting) -> float:
    """Return how far from the start the corners may lie, so that the bore stays in view.

    A pixel's size is guessed from the bore, which is good to some ten percent: enough
    to choose a jog, not to measure with.
    """
    seen = start_of.seen
    um_per_px = profile.tool(seen.tool).bore_mm * 500.0 / seen.radius_px
    width, height = seen.picture_size_px
    u, v = seen.centre_px
    room_px = min(u, width - 1 - u, v, height - 1 - v) - 1.8 * seen.radius_px
    room_mm = 0.85 * room_px * um_per_px * 1e-3
    step = max(_SHORTEST_JOG_MM, profile.display_step_mm)
    rounded = rounded_step(int(max(room_mm, 0.0) / step) * step, profile.display_step_mm)
    return min(max(rounded, step), _LONGEST_JOG_MM)


def corners_mm(half_mm: float, display_step_mm: float) -> tuple[PointMm, ...]:
    """Return the corners of the pentagon, seen from the start.

    They are rounded to what is easily counted at the machine: tenths of a millimetre
    from a length of 0.3 mm on, half tenths from 0.15 mm, else what the display shows.
    """
    grid = next((grid for least, grid in _GRIDS_MM if half_mm >= least - 1e-9), 0.0)
    step = max(rounded_step(grid, display_step_mm), display_step_mm)
    return tuple(
        PointMm(rounded_step(x * half_mm, step), rounded_step(y * half_mm, step))
        for x, y in _CORNERS
    )


def _free_corner(sightings: tuple[Sighting, ...], half: float, display_step_mm: float) -> PointMm:
    """Return the first corner near which no jog counts yet."""
    start = sightings[0].seen.position
    corners = corners_mm(half, display_step_mm)
    for corner in corners:
        near = [
            s
            for s in sightings[1:]
            if abs(s.seen.position.x - start.x - corner.x) < 0.4 * half
            and abs(s.seen.position.y - start.y - corner.y) < 0.4 * half
        ]
        if not near:
            return corner
    return corners[len(sightings) % len(corners)]


def _tool_step(run: Run) -> Step | None:
    tool = _next_tool(run)
    if tool is None:
        return None
    last = run.last_counting()
    changes = last is not None and last.seen.tool != tool
    if run.profile.homes_between_tools and changes and not run.homed_since_sighting:
        return HomeFirst(tool=tool)
    closing = tool == run.profile.reference_tool and bool(run.tool_sightings(tool))
    return SightTool(tool=tool, closing=closing, expected=_expected(run, tool))


def _next_tool(run: Run) -> int | None:
    """Return the tool whose turn it is; see `visits`. None when all is sighted."""
    reference = run.profile.reference_tool
    counts = {t.number: len(run.tool_sightings(t.number)) for t in run.profile.tools}
    references = counts.pop(reference)
    fewest = min(counts.values())
    if references == 0:
        return reference
    if fewest >= run.profile.sightings_per_tool:
        last = run.tool_sightings()[-1].seen.tool
        return None if last == reference and references > 1 else reference
    is_between_rounds = max(counts.values()) == fewest
    if is_between_rounds and references <= fewest:
        return reference
    return min(counts, key=lambda number: counts[number])


def _expected(run: Run, tool: int) -> Position | None:
    """Return what the display will read when this nozzle is at the target.

    L = C_0 - n + d, from the reference's place where it was sighted first (or, before
    that, from the start of the scale jogs).
    """
    profile = run.profile
    reference = run.tool_sightings(profile.reference_tool)
    jogs = run.scale_sightings()
    if not reference and not jogs:
        return None
    seen = (reference or jogs)[0].seen
    n = expected_vector_mm(profile, tool)
    d = in_display_mm(profile, tool)
    step = profile.display_step_mm
    z = None if seen.position.z is None else seen.position.z - seen.in_display_mm.z + d.z
    return Position(
        rounded_step(seen.position.x - seen.in_display_mm.x - n.x + d.x, step),
        rounded_step(seen.position.y - seen.in_display_mm.y - n.y + d.y, step),
        None if z is None else rounded_step(z, step),
    )


def _closing_step(snapshot: Snapshot) -> Step:
    run = snapshot.run
    if run.exported is None:
        return Export(findings=snapshot.findings)
    left = tuple(
        t.number
        for t in run.profile.tools
        if t.number != run.profile.reference_tool and t.number not in run.entered
    )
    return EnterOffsets(tools=left) if left else Done()


_PREPARATION_WORDS = {
    "nozzles-cold": "nozzles cold (under 50 C)",
    "filament-back": "filament pulled back",
    "tips-brushed": "tips brushed clean, away from the camera",
    "motors-on": "motors kept on",
    "camera-fixed": "camera where no homing or probing hits it, its cable taped",
    "automatics-off": "the camera's automatic focus, exposure and zoom off",
}


def preparation_words(item: str) -> str:
    """Return what one item of the preparation says."""
    return _PREPARATION_WORDS[item]


def sentence(step: Step, run: Run) -> str:
    """Return one sentence for the person: what the program wants next."""
    decimals = decimals_of(run.profile.display_step_mm)
    match step:
        case Prepare(left=left, before=before):
            ready = f"Make ready: {'; '.join(preparation_words(item) for item in left)}."
            return " ".join((ready, *before))
        case SightScale(plan=None, tool=tool):
            return (
                f"Bring tool {tool} into view and into focus with the machine's Z, "
                f"{_start_words(run)}, and sight it."
            )
        case SightScale(plan=plan, number=number, total=total):
            assert plan is not None
            return f"Jog {plan.sentence(decimals)}, and sight it ({number} of {total})."
        case MendScale():
            return _mend_words(step, run, decimals)
        case ConfirmMirror():
            return (
                "The picture is mirrored, or an axis has the wrong sign. "
                "Jog X +0.1: does the X on the machine's display grow?"
            )
        case HomeFirst(tool=tool):
            return (
                f"Lift Z, see that homing does not hit the camera, "
                f"and home the machine; then take tool {tool}."
            )
        case SightTool(tool=tool, closing=closing, expected=expected):
            again = " once more, to see whether anything moved" if closing else ""
            return f"Sight tool {tool}{_place_words(expected, decimals)}, last jogs plus{again}."
        case Export(findings=findings):
            failed = sum(finding.fails for finding in findings)
            if failed:
                return f"All tools are sighted, but {failed} checks failed: read them first."
            return "All tools are sighted: take the offsets."
        case EnterOffsets(tools=tools):
            names = ", ".join(f"tool {tool}" for tool in tools)
            return f"Enter the new offsets in the machine ({names})."
        case Done():
            return "Done."


def _start_words(run: Run) -> str:
    if run.started.mode is PositionMode.JOGS_ONLY:
        return "the last jog of X and of Y being a plus"
    return "the last jog of X and of Y being a plus; read X, Y and Z from the display"


def _place_words(expected: Position | None, decimals: int) -> str:
    if expected is None:
        return " over the camera"
    return f" at X {expected.x:.{decimals}f} Y {expected.y:.{decimals}f}"


def _mend_words(step: MendScale, run: Run, decimals: int) -> str:
    if step.doubtful:
        words = doubt_words(step.doubtful, run.evidence().scale_jogs, decimals)
        return f"{words}. Correct that entry or strike it out."
    assert step.refusal is not None
    return step.refusal.sentence
