"""The bench's camera over HTTP: a stream of JPEGs, one picture, and what the display shows."""

from __future__ import annotations

import contextlib
import json
import logging
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler

from app.bench.stream import Jpeg, Stream
from app.bench.tcp import HangUpServer
from app.bench.world import World

_LOG = logging.getLogger(__name__)
_BOUNDARY = "tipwright-bench-frame"
_SLOW_CLIENT_S = 10.0
_TIME_HEADER = "X-World-Time"


class PageServer(HangUpServer):
    """Serves `/` (the stream), `/frame.jpg` and `/state.json`."""

    def __init__(self, port: int, world: World, stream: Stream) -> None:
        self.world = world
        self.stream = stream
        super().__init__(port, _Pages)


def state(world: World) -> dict[str, object]:
    """Return what a person at the machine can read off; nothing of the truth."""
    with world.lock:
        board = world.controller
        shown = board.firmware.on_display(board.position())
        return {
            "schema": 1,
            "simulated": True,
            "machine": world.profile.name,
            "tool": board.active,
            "shown_mm": {"x": shown.x, "y": shown.y, "z": shown.z},
            "homed": board.is_homed,
            "halted": board.is_halted,
            "world_time_s": world.clock.now_s(),
        }


class _Pages(BaseHTTPRequestHandler):
    """One client; it may go away at any time."""

    server: PageServer
    timeout = _SLOW_CLIENT_S

    def do_GET(self) -> None:
        """Answer a request."""
        pages = {"/": self._stream, "/frame.jpg": self._picture, "/state.json": self._state}
        page = pages.get(self.path.split("?", 1)[0])
        with contextlib.suppress(ConnectionError, TimeoutError):
            if page is None:
                self.send_error(HTTPStatus.NOT_FOUND)
            else:
                page()

    def _stream(self) -> None:
        self.send_response(HTTPStatus.OK)
        kind = f"multipart/x-mixed-replace; boundary={_BOUNDARY}"
        self._headers({"Content-Type": kind, "Cache-Control": "no-store"})
        number = -1
        with self.server.stream.viewing():
            while (jpeg := self.server.stream.after(number)) is not None:
                number = jpeg.number
                self.wfile.write(_part(jpeg))

    def _picture(self) -> None:
        with self.server.stream.viewing():
            jpeg = self.server.stream.after(self.server.stream.newest_number())
        if jpeg is None:
            self.send_error(HTTPStatus.SERVICE_UNAVAILABLE)
            return
        self.send_response(HTTPStatus.OK)
        self._body("image/jpeg", jpeg.data, {_TIME_HEADER: f"{jpeg.world_time_s:.6f}"})

    def _state(self) -> None:
        self.send_response(HTTPStatus.OK)
        body = json.dumps(state(self.server.world)).encode()
        self._body("application/json", body, {"Cache-Control": "no-store"})

    def _body(self, kind: str, body: bytes, headers: dict[str, str]) -> None:
        self._headers({"Content-Type": kind, "Content-Length": str(len(body)), **headers})
        self.wfile.write(body)

    def _headers(self, headers: dict[str, str]) -> None:
        for name, value in headers.items():
            self.send_header(name, value)
        self.end_headers()

    def log_message(self, format: str, *args: object) -> None:
        """Send the server's access log where all logs go."""
        _LOG.debug("%s " + format, self.address_string(), *args)


def _part(jpeg: Jpeg) -> bytes:
    """Return one part of the stream.

    With its length in front a reader need not wait for the next part to know
    where this one ends, which would cost it one frame's time.
    """
    head = (
        f"--{_BOUNDARY}\r\nContent-Type: image/jpeg\r\nContent-Length: {len(jpeg.data)}\r\n"
        f"{_TIME_HEADER}: {jpeg.world_time_s:.6f}\r\n\r\n"
    )
    return head.encode("ascii") + jpeg.data + b"\r\n"
