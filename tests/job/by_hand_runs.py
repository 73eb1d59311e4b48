"""A person who does a whole run by hand on the bench, and the slips that people make.

The picture itself is left out: where the bore is seen comes from the bench's geometry
with the finder's noise added, which is quick enough for some hundred entries.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from app.bench import BenchMachine, World, bench_profile, make_world
from app.job.by_hand import PlaceEntry, Typed, prefilled, read_place
from app.job.coordinates import sum_exact
from app.job.facts import (
    Fact,
    Homed,
    MirrorAccepted,
    Position,
    PositionMode,
    Prepared,
    Purpose,
    RunStarted,
    Sighted,
)
from app.job.jogs import decimals_of, rounded_step
from app.job.live import Seen
from app.job.sheet import ConfirmMirror, HomeFirst, Prepare, SightScale, SightTool, Step, next_step
from app.job.snapshot import Snapshot, in_display_mm, snapshot_of
from tests.job.conftest import run_of
from vision.bore import BoreFit
from vision.geometry import CovPx2, PointPx

TEMPORAL = CovPx2(0.05**2, 0.0, 0.05**2)
STATIC = CovPx2(0.05**2, 0.0, 0.05**2)
FRAMES = 12
CLEARANCE_MM = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """A place is asked for, the machine stands where it was asked to, and this is seen."""

    step: SightScale | SightTool
    snapshot: Snapshot
    typed: Typed
    shown: Position
    seen: Seen

    def entry(self, typed: Typed | None = None) -> PlaceEntry:
        return read_place(self.step, self.snapshot, typed or self.typed, self.seen)


def fit_at(centre: PointPx, *, radius_px: float = 36.0) -> BoreFit:
    return BoreFit(
        centre_px=centre,
        temporal_cov_px2=TEMPORAL,
        static_cov_px2=STATIC,
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


def moments(name: str, seed: int) -> Iterator[Moment]:
    """Go through a whole run by hand on a machine of the bench, as the run sheet asks."""
    world = make_world(bench_profile(name), seed=seed)
    with closing(world), closing(BenchMachine(world)) as machine:
        yield from _Person(world, machine, np.random.default_rng(seed)).run()


class _Person:
    def __init__(self, world: World, machine: BenchMachine, rng: np.random.Generator) -> None:
        self._world, self._machine, self._rng = world, machine, rng
        self._static: dict[int, NDArray[np.float64]] = {}
        self._z_mm = world.truth.eye.focus_z_mm
        self._facts: list[Fact] = [
            RunStarted(
                profile=world.profile,
                camera="bench",
                mode=PositionMode.SHOWN,
                simulated=True,
                program_version="0",
            )
        ]

    def run(self) -> Iterator[Moment]:
        while True:
            snapshot = snapshot_of(run_of(*self._facts))
            step = next_step(snapshot)
            if isinstance(step, SightScale | SightTool):
                moment = self._go(step, snapshot)
                yield moment
                self._facts.append(self._sighted(moment))
            elif (fact := self._other(step)) is not None:
                self._facts.append(fact)
            else:
                return

    def _other(self, step: Step) -> Fact | None:
        match step:
            case Prepare(left=left):
                return Prepared(ticked=left)
            case ConfirmMirror():
                return MirrorAccepted(mirrored=True)
            case HomeFirst(tool=tool):
                self._machine.home()
                self._take(tool)
                return Homed(tool=tool)
        return None

    def _go(self, step: SightScale | SightTool, snapshot: Snapshot) -> Moment:
        if self._machine.active_tool != step.tool:
            self._take(step.tool)
        x, y = self._goal(step)
        # From below in both axes, as is asked for.
        if self._machine.shown().z != self._z_mm:
            self._machine.move_to(x=x, y=y, z=None)
            self._machine.move_to(x=None, y=None, z=round(self._z_mm, 2))
        self._machine.move_to(x=sum_exact(x, -0.3), y=sum_exact(y, -0.3), z=None)
        self._machine.move_to(x=x, y=y, z=None)
        clock = self._world.clock
        clock.wait_until(clock.now_s() + 1.0)
        shown = self._machine.shown()
        decimals = decimals_of(self._world.profile.display_step_mm)
        typed = replace(
            prefilled(step, snapshot), x=f"{shown.x:.{decimals}f}", y=f"{shown.y:.{decimals}f}"
        )
        seen = Seen(
            frame_id=1,
            arrived_at_s=clock.now_s(),
            camera_generation=1,
            fit=self._look(step.tool, 1),
        )
        return Moment(step=step, snapshot=snapshot, typed=typed, shown=shown, seen=seen)

    def _goal(self, step: SightScale | SightTool) -> tuple[float, float]:
        if step.expected is None:
            return self._world.camera_at_mm
        off = np.zeros(2)
        if isinstance(step, SightTool):
            off = self._rng.uniform(-0.15, 0.15, 2)
        display = self._world.profile.display_step_mm
        return (
            sum_exact(step.expected.x, rounded_step(float(off[0]), display)),
            sum_exact(step.expected.y, rounded_step(float(off[1]), display)),
        )

    def _take(self, tool: int) -> None:
        self._machine.move_to(x=None, y=None, z=round(self._z_mm + CLEARANCE_MM, 2))
        if self._machine.active_tool != tool:
            self._machine.select_tool(tool)

    def _look(self, tool: int, frames: int) -> BoreFit:
        centre = self._world.glimpse(self._world.clock.now_s()).centre_px
        own = self._static.setdefault(tool, self._rng.normal(0.0, 0.05, 2))
        u, v = centre + own + self._rng.normal(0.0, 0.05 / frames**0.5, 2)
        um_per_px = 1e3 / abs(float(np.linalg.det(self._world.truth.eye.matrix_px_per_mm))) ** 0.5
        # A broken edge widens what is seen of the bore by some percent.
        radius = self._world.profile.tool(tool).bore_mm * 500.0 / um_per_px * 1.05
        return fit_at(PointPx(float(u), float(v)), radius_px=radius)

    def _sighted(self, moment: Moment) -> Sighted:
        tool = moment.step.tool
        fit = self._look(tool, FRAMES)
        entry = moment.entry()
        assert entry.place is not None, entry
        return Sighted(
            purpose=Purpose.SCALE if isinstance(moment.step, SightScale) else Purpose.TOOL,
            tool=tool,
            position=entry.place,
            in_display_mm=in_display_mm(self._world.profile, tool),
            approach=entry.approach,
            centre_px=fit.centre_px,
            temporal_cov_px2=CovPx2(TEMPORAL.uu / FRAMES, 0.0, TEMPORAL.vv / FRAMES),
            static_cov_px2=STATIC,
            radius_px=fit.radius_px,
            blur_px=fit.blur_px,
            frame_centres_px=(),
            picture_size_px=(640, 480),
            camera_generation=1,
            algorithm="geometry",
        )


def slips(typed: Typed, previous: Position | None, step_mm: float) -> dict[str, Typed]:
    """Return what a person might type instead, by the name of the slip; each differs."""
    x = typed.x
    found: dict[str, Typed] = {}
    digits = [place for place, sign in enumerate(x) if sign.isdigit()]
    for first, second in pairwise(digits):
        signs = list(x)
        signs[first], signs[second] = signs[second], signs[first]
        found[f"digits {first} and {second} swapped"] = replace(typed, x="".join(signs))
    found["sign"] = replace(typed, x=f"-{x}")
    if "." in x:
        found["missing point"] = replace(typed, x=x.replace(".", ""))
    found["exchanged"] = replace(typed, x=typed.y, y=typed.x)
    if previous is not None:
        decimals = decimals_of(step_mm)
        found["last place again"] = replace(
            typed, x=f"{previous.x:.{decimals}f}", y=f"{previous.y:.{decimals}f}"
        )
    return {name: slip for name, slip in found.items() if slip != typed}
