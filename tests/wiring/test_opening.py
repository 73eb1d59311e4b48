"""A run is opened with its camera, or not at all; a run on the bench goes on in its own world."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from app import __version__
from app.bench import RealClock, bench_profile
from app.errors import CameraError, InputError, RecordsError
from app.job.facts import Fact, Homed, PositionMode, RunStarted
from app.job.interfaces import CameraState
from app.records import Store
from app.wiring.opening import OpenedRun, RunChoice, open_run, started_of
from app.wiring.workshop import bench_world
from tests.records.examples import HERON

FRAMES = Path(__file__).parents[2] / "sample_frames" / "frames"

ON_THE_BENCH = RunChoice(
    profile=bench_profile("plover"),
    simulated=True,
    camera="bench",
    mode=PositionMode.SHOWN,
    seed=7,
)
ON_A_FOLDER = replace(ON_THE_BENCH, profile=HERON, simulated=False, camera=f"file:{FRAMES}")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path) as store:
        yield store


@pytest.fixture(autouse=True)
def no_thread_is_left() -> Iterator[None]:
    before = set(threading.enumerate())
    yield
    assert set(threading.enumerate()) <= before


@contextmanager
def opened(choice: RunChoice, store: Store) -> Iterator[OpenedRun]:
    run = open_run(choice, store)
    try:
        yield run
    finally:
        run.camera.close()
        if run.world is not None:
            run.world.close()


def refused(choice: RunChoice, store: Store) -> InputError:
    """Return why a run is not opened, having seen that nothing was recorded."""
    before = store.runs()
    with pytest.raises(InputError) as caught:
        open_run(choice, store)
    assert store.runs() == before
    assert caught.value.message.endswith(".")
    return caught.value


def started(store: Store, **changes: object) -> str:
    first = RunStarted(
        profile=bench_profile("plover"),
        camera="bench seed 7",
        mode=PositionMode.SHOWN,
        simulated=True,
        program_version="0.0.1",
    )
    return store.start_run(replace(first, **changes))  # type: ignore[arg-type]  # checked by the dataclass


# New runs ------------------------------------------------------------------------------


def test_a_run_on_the_bench_is_recorded_with_its_seed(store: Store) -> None:
    with opened(ON_THE_BENCH, store) as run:
        assert run.world is not None
        assert isinstance(run.world.clock, RealClock)
        assert run.camera.next_frame(after_s=0.0, timeout_s=5.0) is not None
        truth = bench_world("plover", seed=7).true_vectors_mm()
        assert run.world.true_vectors_mm() == truth
        assert run.camera_name == "bench seed 7"
    assert [entry.fact for entry in store.entries(run.run_id)] == [
        RunStarted(
            profile=bench_profile("plover"),
            camera="bench seed 7",
            mode=PositionMode.SHOWN,
            simulated=True,
            program_version=__version__,
        )
    ]


def test_another_camera_is_recorded_by_its_name(store: Store) -> None:
    with opened(ON_A_FOLDER, store) as run:
        assert run.world is None
        assert run.camera.next_frame(after_s=0.0, timeout_s=5.0) is not None
        assert run.camera_name == run.camera.name
    first = started_of(store, run.run_id)
    assert (first.camera, first.simulated, first.profile) == (run.camera_name, False, HERON)


def test_recorded_pictures_begin_again(store: Store, tmp_path: Path) -> None:
    folder = tmp_path / "two frames"
    folder.mkdir()
    for file in sorted(FRAMES.glob("*.png"))[:2]:
        (folder / file.name).write_bytes(file.read_bytes())
    with opened(replace(ON_A_FOLDER, camera=f"file:{folder}"), store) as run:
        last_s = 0.0
        for _ in range(3):
            frame = run.camera.next_frame(after_s=last_s, timeout_s=5.0)
            assert frame is not None
            last_s = frame.arrived_at_s
        assert run.camera.health().state is CameraState.LIVE


# What is refused -----------------------------------------------------------------------


def test_a_machine_that_the_bench_has_not_is_refused(store: Store) -> None:
    dunlin = replace(bench_profile("plover"), name="Dunlin")
    error = refused(replace(ON_THE_BENCH, profile=dunlin), store)
    assert error.code == "unknown-machine"
    assert "Dunlin" in error.message
    assert "Heron" in error.message


def test_a_real_machine_is_not_put_on_the_bench(store: Store) -> None:
    assert refused(replace(ON_THE_BENCH, simulated=False), store).code == "unknown-machine"


def test_a_mode_that_does_not_suit_the_machine_is_refused(store: Store) -> None:
    jogs = replace(ON_A_FOLDER, mode=PositionMode.JOGS_ONLY)
    assert "jogs alone" in refused(jogs, store).message


@pytest.mark.parametrize("source", ["telescope", "usb:first", "file:/no/such/folder", "http://"])
def test_what_is_no_source_is_refused(source: str, store: Store) -> None:
    refused(replace(ON_A_FOLDER, camera=source), store)


def test_a_camera_that_cannot_be_had_leaves_no_run(store: Store) -> None:
    with closing(socket.create_server(("127.0.0.1", 0))) as taken:
        port = taken.getsockname()[1]
    with pytest.raises(CameraError):
        open_run(replace(ON_A_FOLDER, camera=f"http://127.0.0.1:{port}/"), store)
    assert store.runs() == ()


class ReadOnly(Store):
    """Records that may be read and not written."""

    def start_run(self, started: Fact) -> str:
        raise RecordsError("The folder may not be written to.", code="records-read-only")


@pytest.mark.parametrize("choice", [ON_THE_BENCH, ON_A_FOLDER], ids=["bench", "folder"])
def test_where_no_run_can_be_recorded_no_camera_stays_open(
    choice: RunChoice, tmp_path: Path
) -> None:
    with ReadOnly(tmp_path) as store, pytest.raises(RecordsError):
        open_run(choice, store)


@contextmanager
def silent_stream() -> Iterator[str]:
    """A camera on the network that answers and then sends no picture."""
    with closing(socket.create_server(("127.0.0.1", 0))) as server:
        held: list[socket.socket] = []

        def answer() -> None:
            while True:
                try:
                    client, _ = server.accept()
                except OSError:
                    return
                held.append(client)
                client.recv(4096)
                client.sendall(
                    b"HTTP/1.1 200 OK\r\n"
                    b"Content-Type: multipart/x-mixed-replace; boundary=b\r\n\r\n"
                )

        thread = threading.Thread(target=answer)
        thread.start()
        try:
            yield f"http://127.0.0.1:{server.getsockname()[1]}/"
        finally:
            # Wakes the thread from accept, which closing alone does not everywhere.
            server.shutdown(socket.SHUT_RDWR)
            for client in held:
                client.close()
            thread.join()


def test_a_camera_that_gives_no_picture_yet_is_no_failure(store: Store) -> None:
    with silent_stream() as address, opened(replace(ON_A_FOLDER, camera=address), store) as run:
        assert run.camera.health().state is CameraState.STALLED
        assert run.camera.health().sentence
        assert len(store.entries(run.run_id)) == 1


# Going on ------------------------------------------------------------------------------


def test_a_run_goes_on_as_it_began_whatever_is_chosen_now(store: Store) -> None:
    run_id = started(store)
    store.append(run_id, Homed(tool=0))
    other = replace(
        ON_THE_BENCH,
        profile=bench_profile("avocet"),
        mode=PositionMode.JOGS_ONLY,
        seed=3,
        resume=run_id,
    )
    with opened(other, store) as run:
        assert run.run_id == run_id
        assert run.profile == bench_profile("plover")
        assert run.mode is PositionMode.SHOWN
        assert run.simulated
        assert run.world is not None
        truth = bench_world("plover", seed=7).true_vectors_mm()
        assert run.world.true_vectors_mm() == truth
    assert len(store.entries(run_id)) == 2
    assert len(store.runs()) == 1


def test_a_real_run_goes_on_with_a_camera(store: Store) -> None:
    run_id = started(store, profile=HERON, camera="Camera 0", simulated=False)
    with opened(replace(ON_A_FOLDER, simulated=True, resume=run_id), store) as run:
        assert run.run_id == run_id
        assert not run.simulated
        assert run.world is None


def test_a_run_of_the_bench_goes_on_nowhere_else(store: Store) -> None:
    error = refused(replace(ON_A_FOLDER, resume=started(store)), store)
    assert error.code == "another-world"
    assert "choose the bench" in error.message


def test_a_run_on_a_bench_of_unknown_seed_is_not_mixed_with_another_world(store: Store) -> None:
    error = refused(replace(ON_THE_BENCH, resume=started(store, camera="bench")), store)
    assert error.code == "another-world"
    assert "start a new run" in error.message


def test_a_run_of_a_real_camera_does_not_go_on_on_the_bench(store: Store) -> None:
    run_id = started(store, profile=HERON, camera="Camera 0", simulated=False)
    error = refused(replace(ON_THE_BENCH, resume=run_id), store)
    assert error.code == "another-world"
    assert "Camera 0" in error.message


def test_a_run_that_is_not_there_cannot_go_on(store: Store) -> None:
    with pytest.raises(RecordsError) as caught:
        open_run(replace(ON_THE_BENCH, resume="20260101-000000-plover-0000"), store)
    assert caught.value.code == "run-unknown"
