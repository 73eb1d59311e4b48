from __future__ import annotations

import dataclasses
import sqlite3
import threading
from contextlib import closing
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.errors import RecordsError
from app.job import facts
from app.job.interfaces import FactStore, Picture, PictureKind
from app.records import Event, Store
from tests.records.examples import (
    EXPORTED,
    HERON,
    a_picture,
    a_sighting,
    a_start,
    drawing,
    same_picture,
    ticking,
)
from tests.strategies import later_facts


def test_a_store_is_what_the_job_asks_for(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        fact_store: FactStore = store  # the type checker's word counts here

        run_id = fact_store.start_run(a_start())

        assert fact_store.entries(run_id)[0].fact == a_start()


def test_facts_come_back_in_order_with_numbers_and_times(tmp_path: Path) -> None:
    with Store(tmp_path, now=ticking()) as store:
        run_id = store.start_run(a_start())
        second = store.append(run_id, a_sighting())
        third = store.append(run_id, facts.Struck(number=2, why="a drop of plastic"))

        assert store.entries(run_id) == (
            facts.Entry(number=1, at=store.runs()[0].started_at, fact=a_start()),
            second,
            third,
        )
    assert (second.number, third.number) == (2, 3)
    assert datetime.fromisoformat(second.at) < datetime.fromisoformat(third.at)
    assert second.at.endswith("Z")


@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(later_facts, max_size=6))
def test_what_went_in_comes_out_after_the_program_ended(
    tmp_path: Path, history: list[facts.Fact]
) -> None:
    with Store(tmp_path) as store:
        run_id = store.start_run(a_start())
        appended = tuple(store.append(run_id, fact) for fact in history)
    with Store(tmp_path) as store:
        entries = store.entries(run_id)

    assert entries[1:] == appended
    assert [entry.fact for entry in entries] == [a_start(), *history]


def test_a_run_id_tells_day_time_and_machine(tmp_path: Path) -> None:
    berlin = timezone(timedelta(hours=1))
    at = datetime(2026, 11, 25, 12, 30, 5, tzinfo=berlin)
    with Store(tmp_path, now=lambda: at, draw=drawing("k3f9")) as store:
        assert store.start_run(a_start()) == "20261125-113005-heron-k3f9"
        assert store.runs()[0].started_at == "2026-11-25T11:30:05.000Z"


@pytest.mark.parametrize(
    ("name", "slug"),
    [
        ("Plover (left) №2", "plover-left-no2"),
        ("Möwe/../..", "mowe"),
        ("鷺", "machine"),
        ("a" * 60, "a" * 24),
    ],
)
def test_a_run_id_can_be_a_file_name_whatever_the_machine_is_called(
    tmp_path: Path, name: str, slug: str
) -> None:
    started = a_start(dataclasses.replace(HERON, name=name))
    with Store(tmp_path, now=ticking(), draw=drawing("k3f9")) as store:
        assert store.start_run(started) == f"20261125-113000-{slug}-k3f9"
        assert store.runs()[0].machine == name


def test_two_runs_of_one_second_get_different_ids(tmp_path: Path) -> None:
    at = datetime(2026, 11, 25, tzinfo=UTC)
    with Store(tmp_path, now=lambda: at, draw=drawing("aaaa", "aaaa", "bbbb")) as store:
        first, second = store.start_run(a_start()), store.start_run(a_start())

    assert first.endswith("-aaaa")
    assert second.endswith("-bbbb")


def test_a_clock_without_a_zone_is_refused(tmp_path: Path) -> None:
    naive = datetime(2026, 11, 25)  # noqa: DTZ001 - that is the point
    with Store(tmp_path, now=lambda: naive) as store, pytest.raises(ValueError, match="zone"):
        store.start_run(a_start())


def test_a_run_begins_with_its_start_and_has_only_one(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        with pytest.raises(TypeError, match="has to be a RunStarted, not Homed"):
            store.start_run(facts.Homed(tool=0))
        run_id = store.start_run(a_start())
        with pytest.raises(ValueError, match="a run has one"):
            store.append(run_id, a_start())

        assert len(store.entries(run_id)) == 1


def test_pictures_of_8_and_16_bits_come_back_pixel_by_pixel(tmp_path: Path) -> None:
    given_ = [a_picture(1), a_picture(2, 8, deep=True), a_picture(3, 9)]
    with Store(tmp_path) as store:
        run_id = store.start_run(a_start())
        number = store.append(run_id, a_sighting(), given_).number
        back = store.pictures(run_id, number)

        assert store.pictures(run_id, 1) == ()
    assert len(back) == 3
    assert all(same_picture(one, other) for one, other in zip(given_, back, strict=True))
    assert not back[0].image.flags.writeable


def test_a_picture_that_is_a_view_into_a_frame_is_kept(tmp_path: Path) -> None:
    frame = np.arange(100 * 120, dtype=np.uint16).reshape(100, 120)
    view = Picture(image=frame[10:90:2, ::-1], kind=PictureKind.CROP, origin_px=(0, 10), frame_id=1)
    with Store(tmp_path) as store:
        run_id = store.start_run(a_start())
        number = store.append(run_id, a_sighting(), [view]).number

        assert same_picture(store.pictures(run_id, number)[0], view)


def test_the_same_picture_twice_is_kept_twice(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        run_id = store.start_run(a_start())
        number = store.append(run_id, a_sighting(), [a_picture(), a_picture()]).number

        assert len(store.pictures(run_id, number)) == 2


@pytest.mark.parametrize(
    "image",
    [
        np.zeros((4, 4, 3), dtype=np.uint8),
        np.zeros((0, 4), dtype=np.uint8),
        np.zeros((4, 4), dtype=np.float32),
    ],
    ids=["colour", "empty", "float"],
)
def test_a_picture_that_is_not_grey_is_refused_and_nothing_is_written(
    tmp_path: Path, image: np.ndarray[tuple[int, ...], np.dtype[np.uint8]]
) -> None:
    picture = Picture(image=image, kind=PictureKind.FULL, origin_px=(0, 0), frame_id=1)
    with Store(tmp_path) as store:
        run_id = store.start_run(a_start())
        with pytest.raises(ValueError, match="has to be grey"):
            store.append(run_id, a_sighting(), [a_picture(), picture])

        assert len(store.entries(run_id)) == 1
    assert not list(tmp_path.rglob("*.png"))


def test_a_fact_that_cannot_be_recorded_leaves_no_picture_behind(tmp_path: Path) -> None:
    bad = dataclasses.replace(a_sighting(), radius_px=float("nan"))
    with Store(tmp_path) as store:
        run_id = store.start_run(a_start())
        with pytest.raises(ValueError, match="radius_px is nan"):
            store.append(run_id, bad, [a_picture()])

        assert store.append(run_id, a_sighting()).number == 2
    assert not list(tmp_path.rglob("*.png"))


def test_runs_are_listed_newest_first_in_short(tmp_path: Path) -> None:
    with Store(tmp_path, now=ticking()) as store:
        old = store.start_run(a_start())
        store.append(old, a_sighting())
        store.append(old, EXPORTED)
        new = store.start_run(a_start(simulated=True))

        newest, oldest = store.runs()
    assert (newest.run_id, newest.n_facts, newest.simulated) == (new, 1, True)
    assert (oldest.run_id, oldest.n_facts, oldest.simulated) == (old, 3, False)
    assert (newest.exported, oldest.exported) == (False, True)
    assert oldest.started_at < oldest.last_at < newest.started_at == newest.last_at
    assert oldest.machine == "Heron"


def test_a_run_is_finished_while_its_export_stands(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        run_id = store.start_run(a_start())
        seen = [store.runs()[0].finished]
        for fact in (EXPORTED, facts.Entered(tool=1), facts.Struck(number=2, why=""), EXPORTED):
            store.append(run_id, fact)
            seen.append(store.runs()[0].finished)

    assert seen == [False, True, True, False, True]


def test_the_last_unfinished_run_is_the_one_to_go_on_with(tmp_path: Path) -> None:
    plover = dataclasses.replace(HERON, name="Plover")
    with Store(tmp_path) as store:
        assert store.last_unfinished() is None
        first = store.start_run(a_start())
        bench = store.start_run(a_start(plover, simulated=True))
        done = store.start_run(a_start())
        store.append(done, EXPORTED)

        found = [
            store.last_unfinished(),
            store.last_unfinished(machine="Heron"),
            store.last_unfinished(simulated=False),
        ]
        assert store.last_unfinished(machine="Plover", simulated=False) is None
    assert [run.run_id for run in found if run] == [bench, first, first]


def test_the_newest_profile_of_a_machine_counts(tmp_path: Path) -> None:
    plover = dataclasses.replace(HERON, name="Plover")
    heavier = dataclasses.replace(HERON, repeatability_um=7.0)
    with Store(tmp_path) as store:
        for profile in (plover, HERON, heavier):
            store.save_machine(profile)

        assert store.machines() == (heavier, plover)
        assert store.machine("Heron") == heavier


def test_a_machine_or_run_or_fact_that_is_not_there_is_named(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        with pytest.raises(RecordsError, match=r"no machine named Avocet .* none yet"):
            store.machine("Avocet")
        store.save_machine(HERON)
        with pytest.raises(RecordsError, match=r"no machine named Avocet .* Heron"):
            store.machine("Avocet")
        run_id = store.start_run(a_start())
        with pytest.raises(RecordsError, match=f"{run_id} has no fact with the number 9"):
            store.pictures(run_id, 9)
        for call in (
            lambda: store.entries("nowhere"),
            lambda: store.append("nowhere", a_sighting(), [a_picture()]),
            lambda: store.pictures("nowhere", 1),
            lambda: store.add_event("camera-back", "The camera is back.", run_id="nowhere"),
        ):
            with pytest.raises(RecordsError, match="no run nowhere"):
                call()
    assert not list(tmp_path.rglob("*.png"))


def test_events_are_kept_in_order(tmp_path: Path) -> None:
    with Store(tmp_path, now=ticking()) as store:
        run_id = store.start_run(a_start())
        lost = store.add_event("camera-lost", "The camera gives no frames.", run_id=run_id)
        other = store.add_event("started", "The program started.")

        assert store.events() == (lost, other)
        assert store.events(run_id) == (lost,)
    assert isinstance(lost, Event)


@pytest.mark.parametrize("table", ["runs", "facts", "frames"])
def test_no_program_can_change_or_remove_what_was_recorded(tmp_path: Path, table: str) -> None:
    with Store(tmp_path) as store:
        run_id = store.start_run(a_start())
        store.append(run_id, a_sighting(), [a_picture()])
    with closing(sqlite3.connect(tmp_path / "records.sqlite")) as connection:
        for statement in (f"DELETE FROM {table}", f"UPDATE {table} SET run_id = 'other'"):
            with pytest.raises(sqlite3.IntegrityError, match="only ever added"):
                connection.execute(statement)


def test_threads_may_share_a_store(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        run_id = store.start_run(a_start())
        numbers: list[int] = []

        def work(seed: int) -> None:
            for turn in range(5):
                picture = a_picture(10 * seed + turn)
                numbers.append(store.append(run_id, a_sighting(), [picture]).number)
                store.entries(run_id)

        threads = [threading.Thread(target=work, args=(seed,)) for seed in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(timeout=30.0)

        assert sorted(numbers) == list(range(2, 22))
        assert [entry.number for entry in store.entries(run_id)] == list(range(1, 22))
        assert all(len(store.pictures(run_id, number)) == 1 for number in numbers)


def test_a_closed_store_says_so(tmp_path: Path) -> None:
    store = Store(tmp_path)
    store.close()
    store.close()

    with pytest.raises(ValueError, match="closed"):
        store.runs()


def test_facts_are_written_through_to_the_disk(tmp_path: Path) -> None:
    with Store(tmp_path, on_network=False) as store:
        assert store.journal == "wal"
        with store._database.reading() as connection:
            settings_ = [
                connection.exec_driver_sql(f"PRAGMA {name}").scalar_one()
                for name in ("synchronous", "foreign_keys", "journal_mode")
            ]
    full = 2
    assert settings_[0] >= full
    assert settings_[1:] == [1, "wal"]
