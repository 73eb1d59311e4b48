"""A whole run by itself on a machine that has another nozzle than its profile says."""

from __future__ import annotations

from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np

from app.bench import BenchCamera, BenchMachine, bench_profile, make_world
from app.records import Store
from app.wiring.automatic import run_automatically
from app.wiring.runner import RunnerSettings


def test_a_nozzle_twice_as_wide_is_sighted_and_told(tmp_path: Path) -> None:
    known = bench_profile("avocet")
    reference, other = known.tools
    fitted = replace(known, tools=(reference, replace(other, bore_mm=2.0 * other.bore_mm)))
    world = make_world(fitted, seed=3)
    with (
        closing(Store(tmp_path)) as store,
        closing(BenchCamera(world)) as camera,
        closing(BenchMachine(world)) as machine,
    ):
        finished = run_automatically(
            profile=known,
            camera=camera,
            machine=machine,
            store=store,
            simulated=True,
            settings=RunnerSettings(frames=2),
        )
    told = [found for found in finished.findings if found.code == "bore-size"]
    assert [found.path for found in told] == [f"tool {other.number}"]
    assert f"{other.bore_mm:.2f} mm is expected" in told[0].message
    offset = next(o for o in finished.solution.tools if o.tool == other.number)
    true_mm = world.true_vectors_mm()[other.number]
    assert np.abs(np.subtract(offset.vector_mm[:2], true_mm[:2])).max() < 0.03
