"""A camera or a machine that goes away in mid-run: told at once, and nothing is lost."""

from __future__ import annotations

import json
import subprocess
import time
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from app.bench import BenchCamera
from app.errors import CameraError
from app.job.interfaces import CameraHealth, Frame
from app.job.run import fold
from app.job.sheet import SightScale, next_step
from app.job.snapshot import snapshot_of
from app.records import Store
from app.wiring.automatic import run_automatically
from app.wiring.runner import DEFAULT_RUNNER
from app.wiring.workshop import bench_workshop, bench_world
from tests.e2e.program import command, environment, run, served_bench


@pytest.mark.slow
def test_a_bench_that_is_killed_ends_the_job_soon_and_the_run_is_kept(tmp_path: Path) -> None:
    fast = ("--machine", "plover", "--speed", "10", "--fps", "2.5", "--seed", "2")
    with served_bench(tmp_path, *fast) as bench:
        words = ("--machine", "plover", "--camera", bench.camera, "--link", bench.link)
        with subprocess.Popen(
            command("demo", "--json", *words),
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=environment(tmp_path),
        ) as job:
            assert job.stderr is not None
            told = [job.stderr.readline() for _ in range(3)]
            assert "(2 of 6)" in told[-1], told
            bench.process.kill()
            since_s = time.monotonic()
            out, err = job.communicate(timeout=60.0)
            took_s = time.monotonic() - since_s
    assert job.returncode == 3
    assert took_s < 20.0
    assert "Traceback" not in err
    error = json.loads(out)["error"]
    assert "kept" in error["message"]
    listed = json.loads(run(["runs", "list", "--json"], tmp_path).stdout)
    assert listed["finished"] is False
    shown = run(["runs", "show", "last"], tmp_path)
    assert shown.returncode == 0
    assert shown.stdout.splitlines()[-1].startswith("next: Jog ")


class SilentAfter:
    """The bench's camera until some frames were taken; then it gives no more."""

    def __init__(self, camera: BenchCamera, frames: int) -> None:
        self.name = camera.name
        self._camera = camera
        self._left = frames

    def now_s(self) -> float:
        return self._camera.now_s()

    def next_frame(self, *, after_s: float, timeout_s: float) -> Frame | None:
        self._left -= 1
        return (
            self._camera.next_frame(after_s=after_s, timeout_s=timeout_s)
            if self._left >= 0
            else None
        )

    def health(self) -> CameraHealth:
        return replace(self._camera.health(), sentence="The stream has stopped.")

    def close(self) -> None:
        self._camera.close()


def test_a_stream_that_stops_is_told_and_what_was_sighted_is_kept(tmp_path: Path) -> None:
    world = bench_world("heron", seed=2)
    with closing(Store(tmp_path)) as store, bench_workshop(world) as workshop:
        camera = workshop.camera
        assert isinstance(camera, BenchCamera)
        with pytest.raises(CameraError, match=r"The stream has stopped\..*kept"):
            run_automatically(
                profile=workshop.profile,
                camera=SilentAfter(camera, 160),
                machine=workshop.machine,
                store=store,
                simulated=True,
                settings=replace(DEFAULT_RUNNER, frames=4, patience_s=0.05),
            )
        (kept,) = store.runs()
        snapshot = fold(store.entries(kept.run_id))
    assert not kept.finished
    assert snapshot.sightings
    # The places that teach the scale come first, and there was no time for all of them.
    assert isinstance(next_step(snapshot_of(snapshot)), SightScale)
