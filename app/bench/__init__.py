"""The simulated workshop: one World, seen by a camera and by a machine."""

from app.bench.camera import BenchCamera
from app.bench.clock import Clock, RealClock, VirtualClock
from app.bench.machine import BenchMachine
from app.bench.profiles import MACHINES, bench_profile
from app.bench.serve import Served, serve
from app.bench.world import World, make_world

__all__ = [
    "MACHINES",
    "BenchCamera",
    "BenchMachine",
    "Clock",
    "RealClock",
    "Served",
    "VirtualClock",
    "World",
    "bench_profile",
    "make_world",
    "serve",
]
