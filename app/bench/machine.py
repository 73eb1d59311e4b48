"""The bench as a machine: the `Machine` of the job, straight on the simulated board."""

from __future__ import annotations

from app.bench.firmware_text import apply_text, paste
from app.bench.world import World
from app.errors import MachineError
from app.job.facts import Position

_AS_ASKED_MM = 0.006
"""Beyond this the machine is not where it was told to go; below it is rounding."""


class BenchMachine:
    """One world seen as a machine; several views of one world share its board.

    Implements `app.job.interfaces.Machine`.
    """

    def __init__(self, world: World) -> None:
        self.name = f"{world.profile.name} (bench)"
        self._world = world
        self._board = world.controller
        self._closed = False

    @property
    def active_tool(self) -> int:
        """The tool in place, as the machine's own panel shows it."""
        return self._board.active

    @property
    def is_homed(self) -> bool:
        """Whether the axes of the active tool are homed, as the panel shows it."""
        return self._board.is_homed

    def shown(self) -> Position:
        """Return the position as the display rounds it."""
        self._check_open()
        shown = self._board.firmware.on_display(self._board.position())
        return Position(shown.x, shown.y, shown.z)

    def move_to(self, *, x: float | None, y: float | None, z: float | None) -> None:
        """Move the named axes to shown coordinates; return when motion has ended.

        Raises
        ------
        MachineError
            Where the firmware refuses, and where it silently went elsewhere.
        """
        self._check_open()
        named = {axis: value for axis, value in (("x", x), ("y", y), ("z", z)) if value is not None}
        self._board.go(named)
        self._finish()
        there = self._board.position()
        for axis, asked_mm in named.items():
            got_mm = getattr(there, axis)
            if abs(got_mm - asked_mm) > _AS_ASKED_MM:
                raise MachineError(
                    f"{axis.upper()} stopped at {got_mm:.3f} instead of {asked_mm:.3f}: "
                    "that is the end of its travel. Choose a place inside it.",
                    code="not-as-asked",
                    value=asked_mm,
                )

    def select_tool(self, tool: int) -> None:
        """Take a tool, with the motion that its firmware makes of it."""
        self._check_open()
        self._board.select(tool)
        self._finish()

    def home(self) -> None:
        """Home all axes; Z ends lifted clear of the camera."""
        self._check_open()
        self._board.home()
        self._finish()

    def paste(self, *, settings: str, moves: str) -> None:
        """Do what a dialect's two texts say, each move before or after the settings.

        Raises
        ------
        MachineError
            With the line that the firmware refuses.
        """
        self._check_open()
        paste(self._board, settings=settings, moves=moves)
        self._finish()

    def apply_text(self, text: str) -> None:
        """Type a text into the firmware and its files, line by line.

        Raises
        ------
        MachineError
            With the line that the firmware refuses.
        """
        self._check_open()
        apply_text(self._board, text)
        self._finish()

    def close(self) -> None:
        """Let go of the machine; nothing moves."""
        self._closed = True

    def _finish(self) -> None:
        if not self._board.finish():
            raise MachineError("The bench was closed during a move.", code="closed")
        if self._board.is_halted:
            raise MachineError(
                "The machine was stopped in an emergency; its position is gone. "
                "Reset it, then home it with the camera out of the way.",
                code="halted",
            )

    def _check_open(self) -> None:
        if self._closed:
            raise MachineError("The machine's view was closed.", code="closed")
