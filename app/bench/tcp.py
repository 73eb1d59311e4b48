"""A threaded TCP server on 127.0.0.1 that leaves no thread behind."""

from __future__ import annotations

import contextlib
import logging
import socket
import socketserver
import threading

HOST = "127.0.0.1"

_LOG = logging.getLogger(__name__)
_Request = socket.socket | tuple[bytes, socket.socket]


class HangUpServer(socketserver.ThreadingTCPServer):
    """A server that can hang up on all of its clients, so that closing does not wait.

    Attributes
    ----------
    is_ending
        Set from `hang_up` on.
    """

    allow_reuse_address = True
    daemon_threads = False
    block_on_close = True

    def __init__(self, port: int, handler: type[socketserver.BaseRequestHandler]) -> None:
        self.is_ending = threading.Event()
        self._clients: set[object] = set()
        self._clients_lock = threading.Lock()
        super().__init__((HOST, port), handler)

    def get_request(self) -> tuple[socket.socket, object]:
        """Accept a client and remember it."""
        client, address = super().get_request()
        with self._clients_lock:
            self._clients.add(client)
        return client, address

    def shutdown_request(self, request: _Request) -> None:
        """Forget a client."""
        with self._clients_lock:
            self._clients.discard(request)
        super().shutdown_request(request)

    def hang_up(self) -> None:
        """End all conversations; call it when no more clients are accepted."""
        self.is_ending.set()
        with self._clients_lock:
            for client in self._clients:
                if isinstance(client, socket.socket):
                    with contextlib.suppress(OSError):
                        client.shutdown(socket.SHUT_RDWR)

    def handle_error(self, request: _Request, client_address: object) -> None:
        """Put what a conversation died of into the log."""
        del request
        _LOG.warning("A client of the bench at %s was lost", client_address, exc_info=True)
