"""The bench's machine over TCP: lines of G-code in, the firmware's answers out."""

from __future__ import annotations

import contextlib
import queue
import re
import socketserver
import threading
import time

from app.bench.firmware import Family
from app.bench.gcode import Interpreter
from app.bench.tcp import HangUpServer
from app.bench.world import World

_LONGEST_LINE = 1024
"""Longer lines are cut, as in a firmware's buffer."""

_BUSY_EVERY_S = 2.0
"""Marlin's default interval between two ``busy`` lines (M113)."""

_EMERGENCY = re.compile(rb"^\s*M112\b")


class LineServer(HangUpServer):
    """Serves one board to any number of clients."""

    def __init__(self, port: int, world: World) -> None:
        self.world = world
        super().__init__(port, _Conversation)


class _HungUp(Exception):  # noqa: N818 - an end, not an error
    """The conversation is over; whatever waits should stop waiting."""


class _Conversation(socketserver.StreamRequestHandler):
    """One client. Lines are worked on in order, in a thread beside the one that reads.

    So an emergency stop is heard while a move still runs.
    """

    server: LineServer

    def handle(self) -> None:
        """Talk until one side hangs up."""
        self._over = threading.Event()
        self._lines: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        self._said_at_s = time.monotonic()
        worker = threading.Thread(target=self._work, name="bench board")
        worker.start()
        try:
            with contextlib.suppress(OSError):
                self._listen()
        finally:
            self._over.set()
            self._lines.put(None)
            worker.join()

    def _listen(self) -> None:
        while raw := self.rfile.readline(_LONGEST_LINE):
            if _EMERGENCY.match(raw):
                self.server.world.controller.halt()
            self._lines.put(raw.decode("utf-8", errors="replace").strip("\r\n"))

    def _work(self) -> None:
        interpreter = Interpreter(self.server.world.controller, waiting=self._still_at_it)
        with contextlib.suppress(OSError, ValueError, _HungUp):
            # ValueError is what writing to a closed file raises.
            self._say(interpreter.greeting())
            while (line := self._lines.get()) is not None:
                self._said_at_s = time.monotonic()
                self._say(interpreter.answer(line))

    def _say(self, lines: list[str]) -> None:
        if lines:
            self._said_at_s = time.monotonic()
            self.wfile.write("".join(f"{line}\n" for line in lines).encode())

    def _still_at_it(self) -> None:
        """Say now and then that a line takes long, where the firmware does so."""
        if self._over.is_set() or self.server.is_ending.is_set():
            raise _HungUp
        is_marlin = self.server.world.controller.rules.family is Family.MARLIN
        if is_marlin and time.monotonic() - self._said_at_s >= _BUSY_EVERY_S:
            self._say(["echo:busy: processing"])
