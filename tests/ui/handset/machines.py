"""Machines for the panel's tests: the bench at high speed, and one that waits to be let go."""

from __future__ import annotations

import threading

from app.bench import BenchMachine, RealClock, World, bench_profile, make_world
from app.errors import MachineError
from app.job.facts import Position
from app.job.profile import Profile

SPEED = 400.0
"""World seconds in a real one: a tool change of six seconds takes a hundredth."""


def bench(name: str, *, seed: int = 1) -> tuple[World, BenchMachine, Profile]:
    profile = bench_profile(name)
    world = make_world(profile, seed=seed, clock=RealClock(speed=SPEED))
    return world, BenchMachine(world), profile


class GatedMachine:
    """Keeps a record of its moves, and does none before it is let go."""

    name = "Gated"
    active_tool = 0
    is_homed = True

    def __init__(self) -> None:
        self.at = {"x": 100.0, "y": 50.0, "z": 20.0}
        self.moves: list[dict[str, float]] = []
        self.others: list[str] = []
        self.begun = threading.Event()
        self.go = threading.Event()
        self.refuse = ""
        self.closed_by = ""

    def shown(self) -> Position:
        return Position(self.at["x"], self.at["y"], self.at["z"])

    def move_to(self, *, x: float | None, y: float | None, z: float | None) -> None:
        self.begun.set()
        assert self.go.wait(5.0)
        if self.refuse:
            raise MachineError(self.refuse, code="out-of-range")
        asked = {axis: at for axis, at in (("x", x), ("y", y), ("z", z)) if at is not None}
        self.moves.append(asked)
        self.at |= asked

    def select_tool(self, tool: int) -> None:
        self.active_tool = tool
        self.others.append(f"T{tool}")

    def home(self) -> None:
        self.others.append("home")

    def close(self) -> None:
        self.closed_by = threading.current_thread().name
