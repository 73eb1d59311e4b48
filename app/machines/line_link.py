"""A machine that is told lines of G-code, over anything that pyserial can open."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Protocol

import serial

from app.errors import MachineError
from app.job.facts import Position
from app.machines.replies import (
    Reply,
    is_busy,
    is_end,
    make_reply,
    read_position,
    says_gone,
)

AS_ASKED_MM = 0.006
"""Firmwares show two decimals at least: what differs by more is another place."""

ANSWER_S = 10.0
"""How long a line may go unanswered, or a ``busy`` may be the last that was heard."""

MOTION_S = 120.0
"""The same for lines that wait for motion; some firmwares say nothing meanwhile."""

TRAVEL_MM_PER_MIN = 3000
LIFT_MM_PER_MIN = 600
"""Speeds of moves without and with Z: slow enough to watch (common practice, no source)."""

QUIET_S = 0.3
"""A board that has said nothing for so long has ended its greeting."""

_POLL_S = 0.1


class Port(Protocol):
    """What a link needs of pyserial's ports."""

    timeout: float | None

    @property
    def in_waiting(self) -> int:
        """How many bytes can be read without waiting."""
        ...

    def read(self, size: int = ..., /) -> bytes:
        """Return bytes; fewer, or none, when the time is over."""
        ...

    def write(self, data: bytes, /) -> int | None:
        """Send bytes."""
        ...

    def close(self) -> None:
        """Let go of the port."""
        ...


def open_line_link(
    url: str,
    *,
    baudrate: int = 115200,
    name: str | None = None,
    answer_s: float = ANSWER_S,
    motion_s: float = MOTION_S,
    quiet_s: float = QUIET_S,
) -> LineLink:
    """Return a link to the machine at a port that answers.

    Parameters
    ----------
    url
        A device such as ``/dev/ttyUSB0`` or any pyserial URL (``socket://host:port``).
    baudrate
        Speed of a real serial line.
    name
        What people call it; the address by default.
    answer_s, motion_s
        How long to wait for an answer, and for one that waits for motion.
    quiet_s
        Silence after which the machine's greeting is over.

    Raises
    ------
    MachineError
        When the port cannot be opened or nothing on it answers.
    """
    try:
        port = serial.serial_for_url(url, baudrate=baudrate, timeout=_POLL_S, write_timeout=5.0)
    except (serial.SerialException, OSError, ValueError) as error:
        raise MachineError(
            f"The machine's port {url} cannot be opened ({error}). Check that the printer is "
            "on, that the name is right and that no other program has it open.",
            code="port-not-opened",
            value=url,
        ) from error
    link = LineLink(port, name=name or url, answer_s=answer_s, motion_s=motion_s, quiet_s=quiet_s)
    try:
        link.greet()
    except BaseException:
        link.close()
        raise
    return link


class LineLink:
    """One machine on one port. Implements `app.job.interfaces.Machine`.

    One thread calls. Every move is ended by ``M400`` and checked by ``M114``: the
    only way to see that a firmware went elsewhere without saying so.

    Parameters
    ----------
    port
        An open port with a short timeout.
    name
        What people call the machine.
    answer_s, motion_s
        How long to wait for an answer, and for one that waits for motion.
    quiet_s
        Silence after which the machine's greeting is over.
    clock
        Seconds that only grow; for tests.
    """

    def __init__(
        self,
        port: Port,
        *,
        name: str,
        answer_s: float = ANSWER_S,
        motion_s: float = MOTION_S,
        quiet_s: float = QUIET_S,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.name = name
        self._port = port
        self._answer_s = answer_s
        self._motion_s = motion_s
        self._quiet_s = quiet_s
        self._clock = clock
        self._rest = b""
        self._closed = False
        self._gone: str | None = None
        self._told: dict[str, float] = {}

    def greet(self) -> None:
        """Listen past whatever the machine says on being opened, then ask who it is.

        Opening a port may reset the board, which then greets for a while, in some
        firmwares with an ``ok`` that would make every later answer lag by one.
        """
        for attempts_left in (2, 1, 0):
            self._let_pass()
            try:
                self._command("M115", self._answer_s)
                break
            except MachineError as error:
                # A board that was reset by being opened swallows the first line or
                # greets in the middle of it.
                if error.code not in ("no-answer", "position-gone") or not attempts_left:
                    raise
        self._command("G90", self._answer_s)

    def _let_pass(self) -> None:
        """Drop what comes in until it has been quiet for a while."""
        quiet_from_s = self._clock()
        while self._clock() - quiet_from_s < self._quiet_s:
            if self._receive():
                quiet_from_s = self._clock()
        self._rest = b""
        self._gone = None

    def shown(self) -> Position:
        """Return the position that the display shows.

        Of an axis that was moved it is the number that was asked for, where the
        machine shows the same to its last digit.
        """
        there = self._ask_position()
        return Position(*(self._told.get(axis, there[axis]) for axis in "xyz"))

    def move_to(self, *, x: float | None, y: float | None, z: float | None) -> None:
        """Move the named axes to shown coordinates in mm; return when motion has ended.

        Raises
        ------
        MachineError
            When the machine refuses, falls silent, or stands elsewhere afterwards.
        """
        asked = {axis: value for axis, value in (("x", x), ("y", y), ("z", z)) if value is not None}
        if not asked:
            return
        for axis in asked:
            self._told.pop(axis, None)
        words = " ".join(f"{axis.upper()}{value:.3f}" for axis, value in asked.items())
        speed = TRAVEL_MM_PER_MIN if z is None else LIFT_MM_PER_MIN
        self._command(f"G0 {words} F{speed}", self._motion_s)
        self._command("M400", self._motion_s)
        there = self._ask_position()
        for axis, value in asked.items():
            if abs(there[axis] - value) > AS_ASKED_MM:
                raise MachineError(
                    f"{axis.upper()} was sent to {value:.3f} and stands at {there[axis]:.3f}: "
                    "it may have reached the end of its travel. Choose a place inside it, "
                    "and check that the machine is homed.",
                    code="not-as-asked",
                    value=value,
                )
        self._told |= {axis: round(value, 3) for axis, value in asked.items()}

    def select_tool(self, tool: int) -> None:
        """Make a tool the active one; the machine may move as its firmware does."""
        self._told.clear()
        self._command(f"T{tool}", self._motion_s)
        self._command("M400", self._motion_s)

    def home(self) -> None:
        """Home all axes."""
        self._told.clear()
        self._command("G28", self._motion_s)
        self._command("M400", self._motion_s)

    def close(self) -> None:
        """Let go of the port; nothing moves. A second call does nothing."""
        if not self._closed:
            self._closed = True
            self._port.close()

    def _ask_position(self) -> dict[str, float]:
        reply = self._command("M114", self._answer_s)
        position = read_position(reply)
        if position is None:
            raise MachineError(
                f'The machine was asked where it is and answered "{reply.text}". '
                "Check that it is a printer and that the speed of the line is right.",
                code="no-position",
                value=reply.text,
            )
        there = dict(zip("xyz", position, strict=True))
        if any(abs(there[axis] - value) > AS_ASKED_MM for axis, value in self._told.items()):
            # Somebody moved it by its own panel: what we said no longer holds.
            self._told.clear()
        return there

    def _command(self, line: str, limit_s: float) -> Reply:
        """Send a line and return its answer; MachineError for a complaint or silence."""
        self._check_usable()
        self._send(line)
        reply = self._collect(line, limit_s)
        if reply.complaint is not None:
            raise MachineError(
                f'The machine refused "{line}": {reply.complaint}',
                code="refused",
                value=reply.complaint,
            )
        return reply

    def _check_usable(self) -> None:
        if self._closed:
            raise MachineError("The link to the machine was closed.", code="closed")
        if self._gone is not None:
            raise _place_is_gone(self._gone)

    def _send(self, line: str) -> None:
        try:
            self._port.write(f"{line}\n".encode("ascii"))
        except (serial.SerialException, OSError) as error:
            raise self._lost(error) from error

    def _collect(self, sent: str, limit_s: float) -> Reply:
        """Read lines until the one that ends the answer."""
        lines: list[str] = []
        deadline_s = self._clock() + limit_s
        ended = False
        while True:
            for line in self._receive():
                if says_gone(line):
                    self._gone = line
                    raise _place_is_gone(line)
                if is_busy(line):
                    deadline_s = self._clock() + limit_s
                # What stands behind the ok was not asked for and is let go.
                if not ended:
                    lines.append(line)
                    ended = is_end(line)
            if ended:
                return make_reply(lines)
            if self._clock() > deadline_s:
                # Whatever comes later would be taken for the next line's answer.
                self._gone = "no answer"
                raise MachineError(
                    f'The machine did not answer "{sent}" within {limit_s:.0f} s. Look whether '
                    "it stands still; then connect again.",
                    code="no-answer",
                    value=sent,
                )

    def _receive(self) -> list[str]:
        """Return the whole lines that have come in, after a short wait at most."""
        try:
            self._rest += self._port.read(max(self._port.in_waiting, 1))
        except (serial.SerialException, OSError) as error:
            raise self._lost(error) from error
        *whole, self._rest = self._rest.split(b"\n")
        lines = (line.decode("utf-8", errors="replace").strip() for line in whole)
        return [line for line in lines if line]

    def _lost(self, error: Exception) -> MachineError:
        self._gone = "connection lost"
        return MachineError(
            f"The connection to the machine is lost ({error}). Check cable and power, and "
            "home the machine before going on: it may have forgotten where it is.",
            code="connection-lost",
        )


def _place_is_gone(said: str) -> MachineError:
    return MachineError(
        f"The machine stopped or started anew ({said}): it no longer knows where it is. Take "
        "the camera away, connect again and home it.",
        code="position-gone",
        value=said,
    )
