"""The bench on the network: its camera as MJPEG, its machine as lines of G-code.

Both come from one process and one world, on 127.0.0.1 only. Frames are made once a
tick for all who look. Each frame carries its World time twice: in the part's header
``X-World-Time`` and, for those who keep the picture, in a comment segment of the JPEG.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from app.bench.camera import BenchCamera
from app.bench.clock import VirtualClock
from app.bench.line_server import LineServer
from app.bench.page_server import PageServer
from app.bench.stream import Stream
from app.bench.tcp import HOST, HangUpServer
from app.bench.world import World
from app.errors import DeviceError


@dataclass(frozen=True, slots=True, kw_only=True)
class Served:
    """Where a served bench is reached.

    Attributes
    ----------
    http_port, machine_port
        The ports that were taken.
    """

    http_port: int
    machine_port: int

    @property
    def camera_url(self) -> str:
        """The stream of frames."""
        return f"http://{HOST}:{self.http_port}/"

    @property
    def machine_url(self) -> str:
        """The machine, as pyserial wants it."""
        return f"socket://{HOST}:{self.machine_port}"


@contextmanager
def serve(
    world: World, *, http_port: int = 0, machine_port: int = 0, fps: float = 20.0
) -> Iterator[Served]:
    """Serve a world until the context ends; then no thread and no port is left.

    The world itself stays as it is and can be served again.

    Parameters
    ----------
    world
        Made with a `RealClock`.
    http_port, machine_port
        Ports on 127.0.0.1; 0 takes a free one.
    fps
        Frames in a World second.

    Yields
    ------
    Served
        The ports and addresses.

    Raises
    ------
    ValueError
        For a world whose time jumps.
    DeviceError
        Coded ``port-taken``, when another program has the port.
    """
    if isinstance(world.clock, VirtualClock):
        raise ValueError("world must have a RealClock: clients come at their own pace")
    stream = Stream(BenchCamera(world, fps=fps))
    with contextlib.ExitStack() as stack:
        with _port_errors(http_port):
            pages = PageServer(http_port, world, stream)
        stack.callback(pages.server_close)
        with _port_errors(machine_port):
            lines = LineServer(machine_port, world)
        stack.callback(lines.server_close)
        stack.enter_context(_accepting(pages, "bench pages"))
        stack.enter_context(_accepting(lines, "bench lines"))
        # Left first: who waits for a frame has to be let go before the server closes.
        stack.enter_context(stream.running())
        yield Served(http_port=pages.server_address[1], machine_port=lines.server_address[1])


@contextmanager
def _port_errors(port: int) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise DeviceError(
            f"Port {port} on {HOST} cannot be used ({error.strerror}); choose another one, "
            "or 0 for any that is free.",
            code="port-taken",
            value=port,
        ) from error


@contextmanager
def _accepting(server: HangUpServer, name: str) -> Iterator[None]:
    """Accept clients until the context ends, then end their conversations."""
    thread = threading.Thread(
        target=server.serve_forever, kwargs={"poll_interval": 0.05}, name=name
    )
    thread.start()
    try:
        yield
    finally:
        server.shutdown()
        thread.join()
        server.hang_up()
