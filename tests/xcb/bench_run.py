"""What the tests of whole runs share: how they begin, how they end, and what is true."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import closing
from pathlib import Path

from app.job.facts import Exported, ExportedTool
from app.records import Store
from app.wiring.workshop import bench_world
from tests.xcb.hands import Hands

SPEED = ("--speed", "4", "--fps", "4")
"""Four times as fast, with sixteen frames a second: a person who never waits."""


def begin(hands: Hands, machine: str, camera: str) -> None:
    """Choose machine and camera on the start page, and start."""
    hands.click_row("machines", machine)
    hands.click_row("cameras", "Network camera")
    hands.click("camera_address")
    hands.press("ctrl+a")
    hands.type(camera)
    hands.click("start")
    hands.until(lambda: "Make ready" in hands.words(), "the preparation")


def text_on_clipboard(hands: Hands) -> str:
    """Take the offsets, read the warnings if there are any, and copy the text."""
    hands.press("space")
    hands.until(lambda: "Enter the new offsets" in hands.words(), "that the offsets were taken")
    hands.press("r")
    hands.press("ctrl+c")
    hands.until(lambda: hands.clipboard() != "", "a text on the clipboard")
    return hands.clipboard()


def offsets_of(data: Path) -> Mapping[int, ExportedTool]:
    """Return what the only run in the records exported, but for the reference tool."""
    with closing(Store(data)) as store:
        (run,) = store.runs()
        assert run.simulated
        facts = [entry.fact for entry in store.entries(run.run_id)]
    exported = [fact for fact in facts if isinstance(fact, Exported)][-1]
    return {tool.tool: tool for tool in exported.tools[1:]}


def inside(offsets: Mapping[int, ExportedTool], *, machine: str, seed: int) -> None:
    """Check found against true offsets."""
    truth = bench_world(machine, seed=seed).true_vectors_mm()
    off = {
        (tool, axis): (
            1e3 * ((found.nozzle_vector_mm[axis] or 0.0) - truth[tool][axis]),
            1e3 * (found.expanded_uncertainty_mm[axis] or 0.0),
        )
        for tool, found in offsets.items()
        for axis in (0, 1)
    }
    # U holds for 95 % of all axes, so one of eight may well lie outside it; none lies so
    # far outside that it would be a mistake. The coverage itself is tested elsewhere.
    outside = {place: pair for place, pair in off.items() if abs(pair[0]) > pair[1]}
    assert len(outside) <= len(off) / 4, off
    assert all(abs(miss) <= 2.0 * u for miss, u in off.values()), off
    assert max(u for _, u in off.values()) < 40.0
