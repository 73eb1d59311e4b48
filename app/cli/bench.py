"""`tipwright bench`: the window on the bench; with --serve, a camera stream and a machine."""

from __future__ import annotations

import argparse
import signal
import threading
from types import FrameType

from app.bench import MACHINES, RealClock
from app.bench.serve import serve
from app.cli.outcome import Exit, give, give_json, say, seed
from app.errors import InputError
from app.wiring.workshop import bench_world

ABOUT = """\
Open the window on the bench: a simulated machine with its camera and its own panel, to
do a whole run by hand.

  tipwright bench --machine heron

Or serve the bench on 127.0.0.1: its camera as a stream over HTTP, its machine as lines of
G-code over a socket. Whatever reads a network camera and a printer can use them.

  tipwright bench --serve --machine plover
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "--serve", action="store_true", help="serve until stopped, and open no window"
    )
    parser.add_argument(
        "--machine", choices=MACHINES, default="plover", help="which machine (default plover)"
    )
    parser.add_argument("--seed", type=seed, default=1, help="which hidden truth (default 1)")
    parser.add_argument(
        "--http-port",
        metavar="PORT",
        type=int,
        default=8631,
        help="of the camera (default 8631); 0 takes any that is free",
    )
    parser.add_argument(
        "--machine-port",
        metavar="PORT",
        type=int,
        default=8632,
        help="of the machine (default 8632); 0 takes any that is free",
    )
    parser.add_argument(
        "--speed",
        type=float,
        default=1.0,
        help="how fast the simulated time runs, 0.1 to 20 (default 1)",
    )
    parser.add_argument(
        "--fps",
        metavar="FRAMES",
        type=float,
        default=20.0,
        help="frames in a second of simulated time, 0.5 to 60 (default 20)",
    )
    parser.add_argument("--json", action="store_true", help="say the addresses as JSON")


def run(arguments: argparse.Namespace) -> int:
    """Open the window; or serve on 127.0.0.1 until the process is told to stop."""
    if not arguments.serve:
        return int(arguments.open_window(arguments.machine, arguments.seed))
    if not 0.1 <= arguments.speed <= 20.0:
        raise InputError("--speed has to lie from 0.1 to 20.", code="bad-option", path="--speed")
    if not 0.5 <= arguments.fps <= 60.0:
        raise InputError("--fps has to lie from 0.5 to 60.", code="bad-option", path="--fps")
    for name in ("http_port", "machine_port"):
        if not 0 <= getattr(arguments, name) <= 65535:
            option = f"--{name.replace('_', '-')}"
            raise InputError(
                f"{option} has to lie from 0 to 65535.", code="bad-option", path=option
            )
    world = bench_world(
        arguments.machine, seed=arguments.seed, clock=RealClock(speed=arguments.speed)
    )
    stop = threading.Event()

    def end(_signal: int, _frame: FrameType | None) -> None:
        stop.set()

    signal.signal(signal.SIGTERM, end)
    signal.signal(signal.SIGINT, end)
    with serve(
        world,
        http_port=arguments.http_port,
        machine_port=arguments.machine_port,
        fps=arguments.fps,
    ) as served:
        if arguments.json:
            give_json({"schema": 1, "camera": served.camera_url, "link": served.machine_url})
        else:
            give(f"camera:  {served.camera_url}")
            give(f"machine: {served.machine_url}")
        say("Simulated. Stop with Ctrl+C.")
        stop.wait()
    return Exit.GOOD
