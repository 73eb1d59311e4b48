"""The printer's board: it takes moves, tool changes and homing, and drives the mechanics.

It does what its firmware does, wise or not: some clamp a move in silence, some
refuse it, some shift the head when a tool is taken.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from app.bench.axes import Mm3
from app.bench.clock import Clock, VirtualClock
from app.bench.firmware import Family, Firmware, Rules
from app.bench.lens import CameraBody
from app.bench.mechanics import SECOND_CARRIAGE, Mechanics
from app.bench.noise import draw_scatter
from app.bench.truth import Truth, travel_of
from app.errors import MachineError
from app.job.profile import Profile

LIFT_AFTER_HOMING_MM = 50.0
"""Z ends here after homing, well above the camera."""

QUEUE_DEPTH = 16
"""Moves that a board takes on before it keeps the next line waiting."""

TRAVEL_MM_PER_S = 120.0
Z_MM_PER_S = 15.0
_TOOL_CHANGE_S = {"tool-changer": 6.0, "lifting-nozzle": 1.0}
_NO_PICKUP = Mm3()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Taken:
    """Which tool was in place from when on, and how far off it was picked up."""

    from_s: float
    tool: int
    off_mm: Mm3


@dataclass(frozen=True, slots=True, kw_only=True)
class TipPlace:
    """Where the active tool's tip was, in the coordinates of the reference nozzle."""

    tool: int
    at_mm: Mm3


class Controller:
    """One board with its firmware. Any thread may call; only `finish` blocks.

    Parameters
    ----------
    profile, rules, truth
        The machine as it is known, its firmware, and what is hidden.
    clock, lock
        The world's.
    body
        The camera that may be hit.
    """

    def __init__(
        self,
        profile: Profile,
        rules: Rules,
        truth: Truth,
        *,
        clock: Clock,
        lock: threading.RLock,
        body: CameraBody,
    ) -> None:
        self._profile = profile
        self._truth = truth
        self._clock = clock
        self._lock = lock
        self._body = body
        self._rng = np.random.default_rng([truth.seed, 1])
        self._travel = dict(zip(("x", "y", "z"), travel_of(profile), strict=True))
        self._first_tool = profile.tools[0].number
        self._two_carriages = profile.layout == "independent-carriages"
        self.rules = rules
        self.firmware = Firmware(
            rules,
            {tool.number: Mm3(*tool.stored_raw) for tool in profile.tools},
            display_step_mm=profile.display_step_mm,
            first_tool=self._first_tool,
            factory_home_x_mm=self._travel["x"][1],
        )
        self._mechanics = Mechanics(
            truth.play,
            step_mm=profile.motor_step_mm,
            has_second_carriage=self._two_carriages,
            rng=np.random.default_rng([truth.seed, 2]),
        )
        self._slice_s = math.inf if isinstance(clock, VirtualClock) else 0.02
        self._halted = False
        self._begin()

    # -- what it shows ----------------------------------------------------------

    @property
    def active(self) -> int:
        """The tool in place."""
        with self._lock:
            return self.firmware.active

    @property
    def tools(self) -> tuple[int, ...]:
        """The numbers of all tools."""
        return tuple(tool.number for tool in self._profile.tools)

    @property
    def is_halted(self) -> bool:
        """Whether it was stopped in an emergency; then it is deaf until it is reset."""
        with self._lock:
            return self._halted

    @property
    def is_homed(self) -> bool:
        """Whether the active tool's axes are homed."""
        with self._lock:
            return {self._x_axis(), "y", "z"} <= self._homed

    def position(self) -> Mm3:
        """Return the coordinate of the last line that was taken, not rounded."""
        with self._lock:
            return self.firmware.shown(self._carriage())

    def carriage(self) -> Mm3:
        """Return where the active tool's carriage was told to go, with no offset in it."""
        with self._lock:
            return self._carriage()

    def motor(self) -> Mm3:
        """Return where the active tool's motors are, in whole steps."""
        with self._lock:
            return self._mechanics.motor(self._x_axis())

    def count(self, at: Mm3) -> tuple[int, int, int]:
        """Return a coordinate as whole motor steps."""
        x_mm, z_mm = (self._mechanics.axes[name].step_mm for name in ("x", "z"))
        return round(at.x / x_mm), round(at.y / x_mm), round(at.z / z_mm)

    def limits(self) -> Mapping[str, tuple[float, float]]:
        """Return the travel of each axis of the carriage."""
        return dict(self._travel)

    # -- what it is told --------------------------------------------------------

    def go(self, shown_mm: Mapping[str, float], *, speed_mm_per_s: float | None = None) -> None:
        """Queue a straight move to shown coordinates of the axes that are named.

        Raises
        ------
        MachineError
            Coded ``halted``, ``not-homed`` or ``out-of-range``, as the firmware refuses.
        """
        with self._lock:
            self._check_awake()
            self._check_homed(shown_mm)
            # A fresh number for the named axes, the old one for the rest.
            target = self.firmware.carriage(self.position()._replace(**shown_mm))
            named = {axis: getattr(target, axis) for axis in shown_mm}
            self._travel_to(self._within_limits(named), speed_mm_per_s=speed_mm_per_s)

    def select(self, tool: int, *, may_move: bool = True) -> None:
        """Take a tool, with the motion that this firmware makes of it.

        Raises
        ------
        MachineError
            Coded ``halted`` or ``no-such-tool``.
        """
        with self._lock:
            self._check_awake()
            if tool not in self.tools:
                raise MachineError(
                    f"The machine has no tool {tool}; it has {_listed(self.tools)}.",
                    code="no-such-tool",
                    value=tool,
                )
            if tool != self.firmware.active:
                self._change_to(tool, may_move=may_move)

    def home(self, axes: frozenset[str] = frozenset("xyz")) -> None:
        """Queue the homing of axes; X homes every carriage on it, Z ends lifted.

        Raises
        ------
        MachineError
            Coded ``halted``.
        """
        with self._lock:
            self._check_awake()
            for axis in sorted(axes):
                names = ("x", SECOND_CARRIAGE) if axis == "x" and self._two_carriages else (axis,)
                self._home_axes(names)
            self.firmware.homed(x="x" in axes)
            if "z" in axes:
                self._travel_to({"z": LIFT_AFTER_HOMING_MM}, speed_mm_per_s=None)

    def store(self, tool: int, axes: Mapping[str, float]) -> None:
        """Store a tool's offset for the axes that are named, in the firmware's own sign."""
        with self._lock:
            self.firmware.store(tool, axes)

    def stored(self, tool: int) -> Mm3:
        """Return a tool's stored offset, in the firmware's own sign."""
        with self._lock:
            return self.firmware.stored[tool]

    def set_gcode_offset(
        self, axes: Mapping[str, float], adjust: Mapping[str, float], *, move: bool = False
    ) -> None:
        """Change Klipper's offset in force; nothing moves unless it is asked for."""
        with self._lock:
            shown = self.position()
            self.firmware.set_gcode_offset(axes, adjust)
            if move:
                self.go(shown._asdict())

    def finish(self, *, waiting: Callable[[], None] | None = None) -> bool:
        """Block until all queued motion has ended, or the machine was halted.

        Parameters
        ----------
        waiting
            Called now and then while it blocks.

        Returns
        -------
        bool
            False when the clock was stopped.
        """
        return self._wait(lambda _now_s: self._mechanics.busy_until_s, waiting)

    def make_room(self, *, waiting: Callable[[], None] | None = None) -> bool:
        """Block until the queue of moves has room for another one; else as `finish`."""
        return self._wait(lambda now_s: self._mechanics.room_at_s(now_s, QUEUE_DEPTH), waiting)

    def stop_motion(self) -> None:
        """Drop what was queued and stand still; the position is no longer known."""
        with self._lock:
            running = self._mechanics.busy_until_s > self._clock.now_s()
            self._mechanics.stop(self._clock.now_s())
            if running:
                self._homed.clear()
                self._told |= {name: axis.motor_mm for name, axis in self._mechanics.axes.items()}

    def halt(self) -> None:
        """Stop in an emergency: motion and motors off, position and homing gone."""
        with self._lock:
            self.stop_motion()
            self._halted = True
            self._homed.clear()

    def reset(self) -> None:
        """Wake up again after a halt; nothing is homed."""
        with self._lock:
            self._halted = False

    # -- what really happens ----------------------------------------------------

    def tip(self, time_s: float) -> TipPlace:
        """Return which tip was in place at a time, and where it was."""
        with self._lock:
            taken = next(
                (entry for entry in reversed(self._taken) if entry.from_s <= time_s),
                self._taken[0],
            )
            carriage = self._mechanics.place(self._x_axis(taken.tool), time_s)
            nozzle = self._truth.nozzles_mm[taken.tool]
            return TipPlace(tool=taken.tool, at_mm=carriage.plus(nozzle).plus(taken.off_mm))

    # -- inside -----------------------------------------------------------------

    def _wait(self, until_s: Callable[[float], float], waiting: Callable[[], None] | None) -> bool:
        while True:
            now_s = self._clock.now_s()
            with self._lock:
                goal_s = until_s(now_s)
            if now_s >= goal_s:
                return True
            # In slices, so that a halt from another thread is seen.
            if not self._clock.wait_until(min(goal_s, now_s + self._slice_s)):
                return False
            if waiting is not None:
                waiting()

    def _begin(self) -> None:
        """Stand near the camera, homed, with the reference tool in place."""
        reference = self._profile.reference_tool
        self._homed = {"x", "y", "z"}
        self._told = {"x": self._travel["x"][0], "y": 0.0, "z": LIFT_AFTER_HOMING_MM}
        if self._two_carriages:
            if not self._profile.homes_between_tools:
                self._homed.add(SECOND_CARRIAGE)
            self._told["x"] = self._switch_mm("x")
            self._told[SECOND_CARRIAGE] = self._switch_mm(SECOND_CARRIAGE)
        self.firmware.take(reference)
        start = self._truth.start_mm
        self._told |= {self._x_axis(): start.x, "y": start.y, "z": start.z}
        self._mechanics.stand_at(self._told)
        self._taken = [_Taken(from_s=0.0, tool=reference, off_mm=self._pickup(reference))]

    def _x_axis(self, tool: int | None = None) -> str:
        tool = self.firmware.active if tool is None else tool
        return SECOND_CARRIAGE if self._two_carriages and tool != self._first_tool else "x"

    def _carriage(self) -> Mm3:
        return Mm3(*(self._told[axis] for axis in (self._x_axis(), "y", "z")))

    def _check_awake(self) -> None:
        if self._halted:
            raise MachineError("The machine is halted; reset it, then home it.", code="halted")

    def _check_homed(self, axes: Mapping[str, float]) -> None:
        """Refuse to move axes whose place is not known.

        The Marlin of the bench is built with NO_MOTION_BEFORE_HOMING; Smoothieware
        moves all the same.
        """
        if self.rules.family is Family.SMOOTHIE:
            return
        missing = [axis for axis in axes if self._real(axis) not in self._homed]
        if missing:
            raise MachineError(
                f"The machine does not know where {' and '.join(missing).upper()} is; "
                "home it first, with the camera out of the way.",
                code="not-homed",
                value="".join(missing).upper(),
            )

    def _real(self, axis: str) -> str:
        return self._x_axis() if axis == "x" else axis

    def _within_limits(self, target: dict[str, float]) -> dict[str, float]:
        clamped = {
            axis: min(max(value, self._travel[axis][0]), self._travel[axis][1])
            for axis, value in target.items()
        }
        # Half a micrometre is rounding, not a wish to go there.
        outside = [axis for axis in target if abs(clamped[axis] - target[axis]) > 0.0005]
        if outside and self.rules.family is Family.SMOOTHIE:
            # Its soft end stops are on here; what they do by default is to halt.
            self.halt()
            raise MachineError(
                f"The move would leave the travel of {outside[0].upper()}; the machine halted.",
                code="end-stop",
                value=outside[0].upper(),
            )
        if outside and self.rules.family is Family.KLIPPER:
            raise MachineError(
                "The move would leave the machine's travel.",
                code="out-of-range",
                value=" ".join(f"{value:.3f}" for value in target.values()),
            )
        return clamped

    def _travel_to(self, target: Mapping[str, float], *, speed_mm_per_s: float | None) -> None:
        before = self._tip_told()
        motors = {self._real(axis): value for axis, value in target.items()}
        fastest = Z_MM_PER_S if set(target) == {"z"} else TRAVEL_MM_PER_S
        moved = self._mechanics.travel(
            motors,
            now_s=self._clock.now_s(),
            # A crawl of a tenth of a millimetre a second is slow enough for anything.
            speed_mm_per_s=max(min(speed_mm_per_s or fastest, fastest), 0.1),
            least_steps=self.rules.least_steps,
        )
        self._told |= motors
        if moved:
            self._body.sweep(before, self._tip_told(), at_s=self._mechanics.busy_until_s)

    def _tip_told(self) -> Mm3:
        return self._carriage().plus(self._truth.nozzles_mm[self.firmware.active])

    def _change_to(self, tool: int, *, may_move: bool) -> None:
        old_axis = self._x_axis()
        shown = self.position()
        self.firmware.take(tool)
        if self._two_carriages:
            self._change_carriage(old_axis, shown)
        elif self.rules.family is Family.MARLIN and may_move and self.is_homed:
            self._shift_head(shown)
        self._mechanics.busy_until_s = max(
            self._mechanics.busy_until_s, self._clock.now_s()
        ) + _TOOL_CHANGE_S.get(self._profile.layout, 0.0)
        self._taken.append(
            _Taken(from_s=self._mechanics.busy_until_s, tool=tool, off_mm=self._pickup(tool))
        )

    def _change_carriage(self, old_axis: str, shown: Mm3) -> None:
        """Give the rail to the other carriage.

        Where the machine homes between tools nothing moves, as in Marlin's full
        control (``M605 S0``), and the carriage that is left loses its place: it has
        to home before it is used again. Else the old one parks, and under Marlin
        the new one comes to the same X.
        """
        if self._profile.homes_between_tools:
            self._homed.discard(old_axis)
            return
        parked_mm = self._switch_mm(old_axis)
        self._mechanics.travel(
            {old_axis: parked_mm}, now_s=self._clock.now_s(), speed_mm_per_s=TRAVEL_MM_PER_S
        )
        self._told[old_axis] = parked_mm
        if self.rules.family is Family.MARLIN:
            self._shift_head(shown)

    def _shift_head(self, shown: Mm3) -> None:
        """Bring the new nozzle where the old one stood, a little lifted on the way."""
        target = self.firmware.carriage(shown)
        lifted_mm = self._told["z"] + 2.0
        for leg in ({"z": lifted_mm}, {"x": target.x, "y": target.y}, {"z": target.z}):
            self._travel_to(self._within_limits(leg), speed_mm_per_s=None)

    def _home_axes(self, names: tuple[str, ...]) -> None:
        switches = {name: self._switch_mm(name) for name in names}
        before = self._tip_told()
        self._mechanics.home(switches, now_s=self._clock.now_s(), takes_s=4.0)
        self._told |= switches
        self._homed |= set(names)
        self._body.sweep(before, self._tip_told(), at_s=self._mechanics.busy_until_s)

    def _switch_mm(self, axis: str) -> float:
        """Return where an axis has its switch, in motor coordinates."""
        if axis != SECOND_CARRIAGE:
            return self._travel[axis][0]
        second = next(tool for tool in self.tools if tool != self._first_tool)
        if self.rules.x_at_home:
            return self.firmware.switch_x_mm[second]
        return self._travel["x"][1]

    def _pickup(self, tool: int) -> Mm3:
        """Return how far off a tool is this time, where tools are picked up at all."""
        play = self._truth.play
        if self._profile.layout not in _TOOL_CHANGE_S or play.pickup_mm == 0.0:
            return _NO_PICKUP
        now_s = self._clock.now_s()
        return Mm3(
            *(
                draw_scatter(self._rng, sigma=play.pickup_mm) + wander.at(now_s)
                for wander in play.pickup_wander[tool]
            )
        )


def _listed(tools: tuple[int, ...]) -> str:
    return ", ".join(f"T{tool}" for tool in tools)
