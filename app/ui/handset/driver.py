"""Drives the bench's machine for its panel: one thread that owns it, and a queue.

No Qt in here. Whoever shows the panel hands in a listener, which is called from the
driver's thread with a frozen `Readout`.
"""

from __future__ import annotations

import logging
import threading
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Protocol

from app.errors import MachineError
from app.job.facts import Position
from app.job.interfaces import Machine
from app.ui.handset.words import Readout

log = logging.getLogger(__name__)

POLL_S = 0.25
"""How often the display is read while nothing is commanded: a text that was pasted
elsewhere may have moved the machine."""

JOIN_S = 10.0
"""How long `close` waits: longer than any single motion of the bench."""

LIFT_MM = 50.0
"""Z before homing, clear of a microscope on the bed."""


class PanelMachine(Machine, Protocol):
    """A machine that also tells what its own panel shows beside the position."""

    @property
    def active_tool(self) -> int:
        """The tool in place."""
        ...

    @property
    def is_homed(self) -> bool:
        """Whether the axes of the active tool are homed."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class _Jog:
    axis: str
    distance_um: int


@dataclass(frozen=True, slots=True, kw_only=True)
class _Take:
    tool: int


@dataclass(frozen=True, slots=True)
class _Home:
    pass


@dataclass(frozen=True, slots=True)
class _GoBack:
    pass


_Command = _Jog | _Take | _Home | _GoBack


class HandsetDriver:
    """The hand on the machine: takes commands without blocking, does them in order.

    Commands may come from any thread. One that the machine refuses drops those behind
    it: they were meant to start from where it would have ended.

    Parameters
    ----------
    machine
        From now on only the driver's thread calls it, and closes it.
    listener
        Called from that thread whenever what is shown has changed.
    lift_mm
        Z before homing.
    """

    def __init__(
        self,
        machine: PanelMachine,
        listener: Callable[[Readout], None],
        *,
        lift_mm: float = LIFT_MM,
    ) -> None:
        self._machine = machine
        self._listener = listener
        self._lift_mm = lift_mm
        self._queue: deque[_Command] = deque()
        self._wake = threading.Condition()
        self._stopping = False
        self._readout = Readout()
        self._back: Position | None = None
        self._is_placed = True  # the bench begins with a tip over the camera
        self._thread = threading.Thread(target=self._run, name="handset", daemon=True)
        self._thread.start()

    def jog(self, axis: str, detents: int, step_mm: float) -> None:
        """Move one axis by some detents from where the display shows it.

        Detents of one axis and direction that have not begun yet become one move. A
        reversal stays a move of its own: merged, an overshoot and its return would
        end on the wrong side of the backlash.
        """
        if axis not in ("x", "y", "z"):
            raise ValueError(f"axis has to be x, y or z, got {axis!r}")
        distance_um = detents * round(step_mm * 1000.0)
        if distance_um == 0:
            return
        with self._wake:
            last = self._queue[-1] if self._queue else None
            if isinstance(last, _Jog) and last.axis == axis and last.distance_um * distance_um > 0:
                self._queue[-1] = replace(last, distance_um=last.distance_um + distance_um)
            else:
                self._queue.append(_Jog(axis=axis, distance_um=distance_um))
            self._wake.notify()

    def take(self, tool: int) -> None:
        """Make a tool the active one."""
        self._put(_Take(tool=tool))

    def home(self) -> None:
        """Lift Z where its place is known, then home all axes."""
        self._put(_Home())

    def go_back(self) -> None:
        """Return to where the machine stood before it was homed: X and Y first, Z last."""
        self._put(_GoBack())

    def close(self) -> None:
        """Drop what is queued, end the thread and let go of the machine.

        A motion under way is waited for; close the world first to cut it short. A
        second call does nothing.
        """
        with self._wake:
            self._stopping = True
            self._queue.clear()
            self._wake.notify()
        if self._thread is not threading.current_thread():
            self._thread.join(JOIN_S)
            if self._thread.is_alive():
                log.warning("the bench's machine does not come to an end; left behind")

    def _put(self, command: _Command) -> None:
        with self._wake:
            self._queue.append(command)
            self._wake.notify()

    # The thread -----------------------------------------------------------------------

    def _run(self) -> None:
        try:
            self._refresh()
            while self._wait():
                self._serve()
        except Exception as failure:
            log.exception("the thread of the bench's panel stopped")
            sentence = (
                f"The panel stopped ({type(failure).__name__}): go to the start page and open "
                "the bench again."
            )
            self._show(replace(self._readout, doing="", fault=sentence))
        finally:
            self._machine.close()

    def _wait(self) -> bool:
        """Wait for a command or the time to look at the display; False at the end."""
        with self._wake:
            if not self._queue and not self._stopping:
                self._wake.wait(POLL_S)
            return not self._stopping

    def _serve(self) -> None:
        with self._wake:
            command = self._queue.popleft() if self._queue else None
        if command is None:
            self._refresh()
            return
        try:
            self._show(replace(self._readout, doing=self._words(command), fault=""))
            self._do(command)
            self._refresh()
        except MachineError as failure:
            with self._wake:
                self._queue.clear()
            log.info("the bench's machine refused: %s", failure.message)
            self._refresh(fault=failure.message)

    def _do(self, command: _Command) -> None:
        match command:
            case _Jog(axis=axis, distance_um=distance_um):
                here = getattr(self._machine.shown(), axis)
                self._move(**{axis: round(here + distance_um / 1000.0, 6)})
                self._is_placed = True
            case _Take(tool=tool):
                self._remember(self._machine.shown())
                self._machine.select_tool(tool)
                self._is_placed = False
            case _Home():
                self._lift_and_home()
            case _GoBack():
                self._return()

    def _lift_and_home(self) -> None:
        here = self._machine.shown()
        self._remember(here)
        if here.z is not None and here.z < self._lift_mm:
            # A board refuses to move an axis of which it does not know the place; then
            # it homes from where it stands, as it would have done anyway.
            with suppress(MachineError):
                self._move(z=self._lift_mm)
        self._machine.home()
        self._is_placed = False

    def _remember(self, here: Position) -> None:
        """Keep where a person had put the machine, to go back there after a homing.

        Where a tool change or a homing left it is no such place, and a carriage that
        has not homed stands nowhere.
        """
        is_low = here.z is not None and here.z < self._lift_mm
        if self._is_placed and is_low and self._machine.is_homed:
            self._back = here

    def _return(self) -> None:
        back = self._back
        if back is None:
            raise MachineError(
                "There is no place to go back to: home the machine first.", code="no-place"
            )
        self._move(x=back.x, y=back.y)
        self._move(z=back.z)
        self._is_placed = True

    def _move(
        self, *, x: float | None = None, y: float | None = None, z: float | None = None
    ) -> None:
        self._machine.move_to(x=x, y=y, z=z)

    def _words(self, command: _Command) -> str:
        match command:
            case _Take(tool=tool):
                return f"taking T{tool} ..."
            case _Home():
                return "lifting, homing ..."
            case _GoBack():
                return "going back ..."
        return ""

    def _refresh(self, *, fault: str | None = None) -> None:
        """Read the display and pass on what has changed; the machine stands now."""
        before = replace(
            self._readout, doing="", fault=self._readout.fault if fault is None else fault
        )
        try:
            shown = self._machine.shown()
        except MachineError as failure:
            # What the command itself met with is what to tell; else this.
            self._show(before if fault else replace(before, fault=failure.message))
            return
        position_mm = (shown.x, shown.y, shown.z or 0.0)
        self._show(
            replace(
                before,
                position_mm=position_mm,
                tool=self._machine.active_tool,
                homed=self._machine.is_homed,
            )
        )

    def _show(self, readout: Readout) -> None:
        if readout != self._readout:
            self._readout = readout
            self._listener(readout)
