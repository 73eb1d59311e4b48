"""Motors, belts and carriages: what really happens when the firmware says go.

Coordinates in here are those of the motors, per axis, in mm. Motors go whole
steps; what they drive follows with play, scatter and some ringing.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from app.bench.axes import Mm3
from app.bench.noise import Wander, draw_scatter
from app.bench.truth import Play

SECOND_CARRIAGE = "u"
"""The name of the X axis of a second carriage."""

_HISTORY = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class _Leg:
    """One stretch of motion of one axis: from one place to the next, at even speed."""

    start_s: float
    end_s: float
    start_mm: float
    end_mm: float


@dataclass(slots=True, kw_only=True)
class Axis:
    """One driven axis with its direction memory.

    Attributes
    ----------
    step_mm, backlash_mm, wander
        One motor step, the full width of the play, the slow part of the scatter.
    steps
        Where the motor is.
    switch_error_mm
        What the last homing was off by.
    """

    step_mm: float
    backlash_mm: float
    wander: Wander
    steps: int = 0
    switch_error_mm: float = 0.0
    _dragged_mm: float = 0.0
    _legs: deque[_Leg] = field(default_factory=lambda: deque(maxlen=_HISTORY))

    @property
    def motor_mm(self) -> float:
        """Where the motor believes it is."""
        return self.steps * self.step_mm

    def steps_to(self, motor_mm: float) -> int:
        """Return how many whole steps lie between here and a coordinate."""
        return round(motor_mm / self.step_mm) - self.steps

    def turn(self, steps: int) -> float:
        """Turn the motor and return where the load now stands, without scatter.

        The load is dragged along at the end of the play: it lags half the
        backlash behind, on the side it comes from.
        """
        self.steps += steps
        motor_mm = self.motor_mm + self.switch_error_mm
        half_mm = self.backlash_mm / 2.0
        self._dragged_mm = min(max(self._dragged_mm, motor_mm - half_mm), motor_mm + half_mm)
        return self._dragged_mm

    def put(self, motor_mm: float, *, side: int) -> None:
        """Stand at a coordinate, come to from the side `side` (+1: it grew)."""
        self.steps = round(motor_mm / self.step_mm)
        self._dragged_mm = self.motor_mm + self.switch_error_mm - side * self.backlash_mm / 2.0

    def note(self, leg: _Leg) -> None:
        """Remember a stretch of motion."""
        self._legs.append(leg)

    def stop(self, now_s: float) -> None:
        """Stand still where a running or queued motion has brought the load by now."""
        here_mm = self.load_mm(now_s)
        moved = any(leg.end_s > now_s for leg in self._legs)
        if not moved:
            return
        self._legs.append(_Leg(start_s=now_s, end_s=now_s, start_mm=here_mm, end_mm=here_mm))
        kept = [leg for leg in self._legs if leg.start_s <= now_s]
        self._legs = deque(sorted(kept, key=lambda leg: leg.start_s), maxlen=_HISTORY)
        self.put(here_mm - self.switch_error_mm, side=0)

    def load_mm(self, time_s: float) -> float:
        """Return where the load stood at a time, ringing left out."""
        leg = self._leg_at(time_s)
        if leg is None:
            return self._dragged_mm
        if time_s >= leg.end_s:
            return leg.end_mm
        if time_s <= leg.start_s:
            return leg.start_mm
        part = (time_s - leg.start_s) / (leg.end_s - leg.start_s)
        return leg.start_mm + part * (leg.end_mm - leg.start_mm)

    def last_stop(self, time_s: float) -> tuple[float, float] | None:
        """Return when the axis last came to rest before `time_s`, and how far it had gone."""
        leg = self._leg_at(time_s)
        if leg is None or time_s < leg.end_s:
            return None
        return leg.end_s, leg.end_mm - leg.start_mm

    def _leg_at(self, time_s: float) -> _Leg | None:
        if not self._legs:
            return None
        starts = [leg.start_s for leg in self._legs]
        return self._legs[max(bisect_right(starts, time_s) - 1, 0)]


class Mechanics:
    """All axes of a machine, on one time line.

    Not locked: the world's lock stands around it.

    Parameters
    ----------
    play
        What the mechanics do besides what they are told.
    step_mm
        One motor step.
    has_second_carriage
        Whether there is a second X axis.
    rng
        Where scatter is drawn from.
    """

    def __init__(
        self, play: Play, *, step_mm: float, has_second_carriage: bool, rng: np.random.Generator
    ) -> None:
        self._play = play
        self._rng = rng
        self.busy_until_s = 0.0
        self._ends_s: deque[float] = deque(maxlen=_HISTORY)
        slow, lash = play.axis_wander, play.backlash_mm
        self.axes = {
            "x": Axis(step_mm=step_mm, backlash_mm=lash.x, wander=slow["x"]),
            "y": Axis(step_mm=step_mm, backlash_mm=lash.y, wander=slow["y"]),
            # Z screws take finer steps than belts (common practice, no source).
            "z": Axis(step_mm=0.0025, backlash_mm=lash.z, wander=slow["z"]),
        }
        if has_second_carriage:
            # The same play on both carriages: else the side from which a
            # position is come to would be part of the nozzle vector.
            second = Axis(step_mm=step_mm, backlash_mm=lash.x, wander=slow[SECOND_CARRIAGE])
            self.axes[SECOND_CARRIAGE] = second

    def stand_at(self, places_mm: Mapping[str, float]) -> None:
        """Begin at these motor coordinates, come to from below."""
        for name, place_mm in places_mm.items():
            axis = self.axes[name]
            axis.put(place_mm, side=1)
            here_mm = axis.turn(0)
            axis.note(_Leg(start_s=0.0, end_s=0.0, start_mm=here_mm, end_mm=here_mm))

    def travel(
        self,
        targets_mm: Mapping[str, float],
        *,
        now_s: float,
        speed_mm_per_s: float,
        least_steps: int = 0,
    ) -> bool:
        """Queue a straight move behind those that still run.

        Parameters
        ----------
        targets_mm
            Motor coordinates per axis.
        least_steps
            Below this many steps of the axis that goes farthest, nothing moves.

        Returns
        -------
        bool
            Whether anything moved.
        """
        turns = {name: self.axes[name].steps_to(target) for name, target in targets_mm.items()}
        if max((abs(steps) for steps in turns.values()), default=0) < max(least_steps, 1):
            return False
        start_s = max(now_s, self.busy_until_s)
        length_mm = math.hypot(*(n * self.axes[name].step_mm for name, n in turns.items()))
        # A tenth of a second to start and stop is the order of what accelerations
        # of 1 to 3 m/s^2 cost (common practice, no source).
        end_s = start_s + length_mm / speed_mm_per_s + 0.1
        for name, steps in turns.items():
            if steps:
                self._drive(self.axes[name], steps, start_s=start_s, end_s=end_s)
        self.busy_until_s = end_s
        self._ends_s.append(end_s)
        return True

    def home(self, switches_mm: Mapping[str, float], *, now_s: float, takes_s: float) -> None:
        """Run axes against their switches; each then stands there, with a new error."""
        start_s = max(now_s, self.busy_until_s)
        end_s = start_s + takes_s
        for name, switch_mm in switches_mm.items():
            axis = self.axes[name]
            before_mm = axis.load_mm(start_s)
            axis.switch_error_mm = draw_scatter(self._rng, sigma=self._play.homing_mm)
            axis.put(switch_mm, side=-1)
            axis.note(_Leg(start_s=start_s, end_s=end_s, start_mm=before_mm, end_mm=axis.turn(0)))
        self.busy_until_s = end_s

    def room_at_s(self, now_s: float, depth: int) -> float:
        """Return when fewer than `depth` moves will be left to do; `now_s` if that is so."""
        pending = [end_s for end_s in self._ends_s if end_s > now_s]
        return pending[-depth] if len(pending) >= depth else now_s

    def stop(self, now_s: float) -> None:
        """Drop all motion that has not happened yet; steps are lost."""
        for axis in self.axes.values():
            axis.stop(now_s)
        self.busy_until_s = min(self.busy_until_s, now_s)
        self._ends_s.clear()

    def place(self, x_axis: str, time_s: float) -> Mm3:
        """Return where a carriage really stood at a time, ringing included."""
        return Mm3(
            self._axis_place(x_axis, time_s),
            self._axis_place("y", time_s),
            self._axis_place("z", time_s),
        )

    def motor(self, x_axis: str) -> Mm3:
        """Return where the motors of a carriage are, or will be when all is done."""
        return Mm3(*(self.axes[name].motor_mm for name in (x_axis, "y", "z")))

    def _drive(self, axis: Axis, steps: int, *, start_s: float, end_s: float) -> None:
        before_mm = axis.load_mm(start_s)
        scatter_mm = draw_scatter(self._rng, sigma=self._play.scatter_mm)
        after_mm = axis.turn(steps) + scatter_mm + axis.wander.at(end_s)
        axis.note(_Leg(start_s=start_s, end_s=end_s, start_mm=before_mm, end_mm=after_mm))

    def _axis_place(self, name: str, time_s: float) -> float:
        axis = self.axes[name]
        place_mm = axis.load_mm(time_s)
        stop = axis.last_stop(time_s)
        if stop is None:
            return place_mm
        since_s, went_mm = time_s - stop[0], stop[1]
        play = self._play
        swing_mm = play.ring_mm * max(-1.0, min(1.0, went_mm / 10.0))
        decay = math.exp(-since_s / play.ring_decay_s)
        return place_mm + swing_mm * decay * math.sin(2.0 * math.pi * play.ring_hz * since_s)
