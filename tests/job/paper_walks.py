"""A person who does a run by hand on a machine on paper, entry by entry."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from app.dialects.values import OffsetMm
from app.job.by_hand import PlaceEntry, Typed, prefilled, read_place
from app.job.coordinates import sum_exact
from app.job.facts import Fact, MirrorAccepted, Position, PositionMode, Prepared, Purpose
from app.job.jogs import decimals_of, rounded_step
from app.job.live import Seen
from app.job.profile import Profile, Tool
from app.job.sheet import PREPARATION, ConfirmMirror, SightScale, SightTool, next_step
from app.job.snapshot import Snapshot, in_display_mm, snapshot_of
from tests.job.conftest import PaperMachine, make_profile, run_of
from vision.bore import BoreFit
from vision.geometry import CovPx2, PointPx

PLAIN = np.array([[180.0, 12.0], [-11.0, 182.0]])
MIRRORED = PLAIN @ np.diag([-1.0, 1.0])
START = Position(150.0, 100.0, 5.0)
CENTRE_SIGMA_PX = 0.05
RADIUS_PX = 36.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A place is asked for, the machine stands there, and the bore is seen."""

    step: SightScale | SightTool
    snapshot: Snapshot
    right: Typed
    shown: Position
    seen: Seen

    def entry(self, typed: Typed | None = None) -> PlaceEntry:
        return read_place(self.step, self.snapshot, typed or self.right, self.seen)


def fit_at(centre: PointPx, *, radius_px: float = RADIUS_PX) -> BoreFit:
    sigma_px = CENTRE_SIGMA_PX
    return BoreFit(
        centre_px=centre,
        temporal_cov_px2=CovPx2(sigma_px**2, 0.0, sigma_px**2),
        static_cov_px2=CovPx2(sigma_px**2, 0.0, sigma_px**2),
        radius_px=radius_px,
        semi_axes_px=(radius_px, radius_px),
        angle_rad=0.0,
        rim_px=np.zeros((0, 2)),
        arc_covered=1.0,
        contrast=0.5,
        blur_px=1.2,
        residual_px=0.1,
        size_verified=True,
    )


def seen_at(centre: PointPx, *, radius_px: float = RADIUS_PX) -> Seen:
    fit = fit_at(centre, radius_px=radius_px)
    return Seen(frame_id=1, arrived_at_s=1.0, camera_generation=1, fit=fit)


def profile_of(*, includes: bool = True, **changes: object) -> Profile:
    """Return a changer whose stored offsets are some tenths off, in its display or not."""
    tools = tuple(
        Tool(number=n, stored_raw=OffsetMm(*raw, 0.0))
        for n, raw in enumerate(((0.0, 0.0), (0.52, -0.31), (-0.44, 0.27)))
    )
    return make_profile(
        tools=tools, display_includes_offset=includes, sightings_per_tool=2, **changes
    )


def walk(
    profile: Profile,
    rng: np.random.Generator,
    *,
    mode: PositionMode = PositionMode.SHOWN,
    mirrored: bool = False,
    stretch: float = 1.0,
    rim: float = 1.0,
    reversal_mm: float = 0.0,
) -> Iterator[Asked]:
    """Do a whole run as the run sheet asks, with the noise that the profile states.

    Parameters
    ----------
    stretch
        How much wider than high the camera's pixels are.
    rim
        How much larger than the nominal bore the seen rim is.
    reversal_mm
        Backlash of a machine whose places are reached from any side, untold; zero for
        a person who comes from below, as is asked for.
    """
    jogs_only = mode is PositionMode.JOGS_ONLY
    start = Position(0.0, 0.0) if jogs_only else START
    d = {tool.number: in_display_mm(profile, tool.number) for tool in profile.tools}
    paper = PaperMachine(
        profile=profile,
        vectors_mm={n: (0.08 * n + own.x, -0.06 * n + own.y) for n, own in d.items()},
        matrix=np.diag([stretch, 1.0]) @ (MIRRORED if mirrored else PLAIN),
        origin_mm=(start.x, start.y),
        mode=mode,
    )
    facts: list[Fact] = [paper.started(), Prepared(ticked=PREPARATION)]
    last, tool_in, seat = start, -1, np.zeros(2)
    while True:
        snapshot = snapshot_of(run_of(*facts))
        step = next_step(snapshot)
        if isinstance(step, ConfirmMirror):
            facts.append(MirrorAccepted(mirrored=True))
            continue
        if not isinstance(step, SightScale | SightTool):
            return
        shown = _gone_to(step, start, profile, rng)
        if step.tool != tool_in:
            tool_in, seat = step.tool, rng.normal(0.0, profile.pickup_repeatability_um * 1e-3, 2)
        off = seat + rng.normal(0.0, profile.repeatability_um * 1e-3, 2)
        off = off + rng.uniform(-0.5, 0.5, 2) * profile.motor_step_mm
        off = off + rng.integers(0, 2, 2) * reversal_mm
        own = d[step.tool]
        really = (shown.x - own.x + off[0], shown.y - own.y + off[1])
        centre = paper.centre(step.tool, really)
        seen = seen_at(_noisy(centre, rng), radius_px=RADIUS_PX * rim)
        right = _typed(step, snapshot, shown, last if jogs_only else None)
        right = replace(right, last_jogs_plus=reversal_mm == 0.0)
        asked = Asked(step=step, snapshot=snapshot, right=right, shown=shown, seen=seen)
        yield asked
        approach = asked.entry().approach
        purpose = Purpose.SCALE if isinstance(step, SightScale) else Purpose.TOOL
        fact = paper.sighted(step.tool, shown, purpose=purpose, d=own, approach=approach)
        burst = _noisy(centre, rng, frames=12)
        facts.append(replace(fact, centre_px=burst, radius_px=RADIUS_PX * rim))
        last = shown


def _gone_to(
    step: SightScale | SightTool, start: Position, profile: Profile, rng: np.random.Generator
) -> Position:
    if step.expected is None:
        return start
    if isinstance(step, SightScale):
        return step.expected
    x, y = (rounded_step(float(s), profile.display_step_mm) for s in rng.uniform(-0.15, 0.15, 2))
    return step.expected._replace(x=sum_exact(step.expected.x, x), y=sum_exact(step.expected.y, y))


def _typed(
    step: SightScale | SightTool, snapshot: Snapshot, shown: Position, base: Position | None
) -> Typed:
    decimals = decimals_of(snapshot.run.profile.display_step_mm)
    x, y = shown.x, shown.y
    if base is not None:
        x, y = sum_exact(x, -base.x), sum_exact(y, -base.y)
    z = prefilled(step, snapshot).z
    return Typed(x=f"{x:.{decimals}f}", y=f"{y:.{decimals}f}", z=z)


def _noisy(centre: PointPx, rng: np.random.Generator, *, frames: int = 1) -> PointPx:
    u, v = np.array(centre) + rng.normal(0.0, CENTRE_SIGMA_PX / frames**0.5, 2)
    return PointPx(float(u), float(v))


SLIPS = ("swap", "sign", "point", "exchange", "repeat", "digit")


def slipped(kind: str, asked: Asked, rng: np.random.Generator) -> Typed | None:
    """Return what is typed by a slip of this kind; None where it would say the same place."""
    right = asked.right
    made = _slip(kind, asked, rng)
    if made is None or (_is_same(made.x, right.x) and _is_same(made.y, right.y)):
        return None
    return made


def _slip(kind: str, asked: Asked, rng: np.random.Generator) -> Typed | None:
    right = asked.right
    axis = "x" if rng.random() < 0.5 else "y"
    text = right.x if axis == "x" else right.y
    if kind == "exchange":
        return replace(right, x=right.y, y=right.x)
    if kind == "repeat":
        run = asked.snapshot.run
        if not run.sightings or run.started.mode is PositionMode.JOGS_ONLY:
            return None
        place = run.sightings[-1].seen.position
        return replace(right, x=f"{place.x:.2f}", y=f"{place.y:.2f}")
    if kind == "sign":
        return _with(right, axis, text[1:] if text[0] == "-" else f"-{text}")
    if kind == "point":
        return _with(right, axis, text.replace(".", ""))
    digits = [at for at, sign in enumerate(text) if sign.isdigit()]
    signs = list(text)
    if kind == "swap":
        at = int(rng.integers(len(digits) - 1))
        a, b = digits[at], digits[at + 1]
        signs[a], signs[b] = signs[b], signs[a]
    else:
        at = digits[int(rng.integers(len(digits)))]
        signs[at] = str((int(signs[at]) + int(rng.integers(1, 10))) % 10)
    return _with(right, axis, "".join(signs))


def _with(typed: Typed, axis: str, text: str) -> Typed:
    return replace(typed, x=text) if axis == "x" else replace(typed, y=text)


def _is_same(a: str, b: str) -> bool:
    return float(a) == float(b)
