"""A motion JPEG server on the loopback that can be told to misbehave."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Callable
from enum import Enum, auto
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import TracebackType
from typing import Any, Self

import numpy as np

from app.cameras.opencv import cv2

BOUNDARY = "part"


class Mood(Enum):
    WELL = auto()
    STALLED = auto()
    CORRUPT = auto()
    JUNK = auto()
    HANG_UP = auto()


def noisy_jpeg(number: int, size_px: tuple[int, int] = (160, 120)) -> bytes:
    """Return a picture whose left half is of grey level `number % 200`, the rest noise."""
    width, height = size_px
    image = np.random.default_rng(number).integers(0, 255, (height, width), dtype=np.uint8)
    image[:, : width // 2] = number % 200
    return cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, 95])[1].tobytes()


class MjpegServer:
    """Serves motion JPEG; what it does is changed through its attributes at any time."""

    def __init__(self, port: int = 0, *, period_s: float = 0.01) -> None:
        self.mood = Mood.WELL
        self.period_s = period_s
        self.size_px = (160, 120)
        self.with_length = True
        self.status = 200
        self.content_type = f"multipart/x-mixed-replace; boundary={BOUNDARY}"
        self.still: bytes | None = None
        self.sent = 0
        self.authorization: str | None = None
        self.redirect: str | None = None
        self.connections = 0
        self._closing = threading.Event()
        self._sockets: list[socket.socket] = []
        self._server = _Server(("127.0.0.1", port), _handler_of(self))
        self._thread = threading.Thread(
            target=lambda: self._server.serve_forever(poll_interval=0.01), name="mjpeg server"
        )
        self._thread.start()

    @property
    def port(self) -> int:
        return self._server.server_port

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}/stream"

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        failure: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        self._closing.set()
        for channel in self._sockets:
            with contextlib.suppress(OSError):  # it may have hung up first
                channel.shutdown(socket.SHUT_RDWR)
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()

    def serve(self, handler: BaseHTTPRequestHandler) -> None:
        self.connections += 1
        self.authorization = handler.headers.get("Authorization")
        self._sockets.append(handler.connection)
        if self.redirect is not None and handler.path == "/stream":
            handler.send_response(302)
            handler.send_header("Location", self.redirect)
            handler.end_headers()
            return
        handler.send_response(self.status)
        handler.send_header("Content-Type", self.content_type)
        handler.end_headers()
        try:
            self._stream(handler.wfile.write)
        except OSError:
            return  # the reader has gone

    def _stream(self, write: Callable[[bytes], Any]) -> None:
        while not self._closing.wait(self.period_s):
            if self.mood is Mood.HANG_UP:
                return
            if self.mood is not Mood.STALLED:
                write(self._part())
                self.sent += 1

    def _part(self) -> bytes:
        body = self.still or noisy_jpeg(self.sent, self.size_px)
        if self.mood is Mood.CORRUPT:
            body = body[: len(body) // 2]
        if self.mood is Mood.JUNK:
            body = b"no picture at all " * 20
        length = f"Content-Length: {len(body)}\r\n" if self.with_length else ""
        head = f"--{BOUNDARY}\r\nContent-Type: image/jpeg\r\n{length}\r\n"
        return head.encode() + body + b"\r\n"


class _Server(ThreadingHTTPServer):
    daemon_threads = False

    def handle_error(self, request: object, client_address: object) -> None:
        """Say nothing: readers that leave are part of the tests."""


def _handler_of(server: MjpegServer) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            server.serve(self)

        def log_message(self, format: str, *args: object) -> None:
            pass

    return Handler
