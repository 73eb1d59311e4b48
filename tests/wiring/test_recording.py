"""Facts are written in order on a thread of their own, and none is lost or written twice."""

from __future__ import annotations

import logging
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from app.errors import RecordsError
from app.job.facts import Entry, Fact, Homed, Prepared, Sighted
from app.job.interfaces import Picture, PictureKind
from app.records import Store
from app.wiring.recording import THUMBNAIL_PX, THUMBNAIL_RADII, Recorded, Recorder, thumbnail_of
from tests.records.examples import a_sighting, a_start
from tests.wiring.watch_fakes import PATIENCE_S, tip
from vision.geometry import PointPx

BORE = PointPx(121.3, 99.6)
RADIUS = 24.0
FULL_DISK = RecordsError("The disk is full. Free some space.", code="records-full")

on_posix = pytest.mark.skipif(sys.platform == "win32", reason="needs limits of POSIX")


class TroubledStore(Store):
    """A store on a disk that now and then does not do its part."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.append_faults: list[Exception | None] = []
        self.read_faults: list[Exception] = []
        self.lands_all_the_same = False
        self.pictures_read = 0

    def append(self, run_id: str, fact: Fact, pictures: Sequence[Picture] = ()) -> Entry:
        fault = self.append_faults.pop(0) if self.append_faults else None
        if fault is not None and not self.lands_all_the_same:
            raise fault
        entry = super().append(run_id, fact, pictures)
        if fault is not None:
            raise fault
        return entry

    def entries(self, run_id: str) -> tuple[Entry, ...]:
        if self.read_faults:
            raise self.read_faults.pop(0)
        return super().entries(run_id)

    def pictures(self, run_id: str, number: int) -> tuple[Picture, ...]:
        self.pictures_read += 1
        return super().pictures(run_id, number)


class Ears:
    """Hears all that a recorder tells, and lets a test wait for it."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self.records: list[Recorded] = []
        self.refused: list[RecordsError] = []
        self.faults: list[Exception] = []
        self.deaf_to: list[Exception] = []

    def recorded(self, recorded: Recorded) -> None:
        with self._changed:
            if self.deaf_to:
                raise self.deaf_to.pop(0)
            self.records.append(recorded)
            self._changed.notify_all()

    def not_recorded(self, error: RecordsError) -> None:
        with self._changed:
            self.refused.append(error)
            self._changed.notify_all()

    def failed(self, error: Exception) -> None:
        with self._changed:
            self.faults.append(error)
            self._changed.notify_all()

    def wait_until(self, holds: Callable[[], bool]) -> None:
        deadline_s = time.monotonic() + PATIENCE_S
        with self._changed:
            while not holds():
                left_s = deadline_s - time.monotonic()
                assert left_s > 0.0, "it never came to hold"
                self._changed.wait(min(left_s, 0.01))

    def facts(self) -> list[Fact]:
        return [entry.fact for entry in self.records[-1].snapshot.run.entries]


@pytest.fixture
def store(tmp_path: Path) -> Iterator[TroubledStore]:
    with TroubledStore(tmp_path) as store:
        yield store


@pytest.fixture
def ears() -> Ears:
    return Ears()


@contextmanager
def recording(store: Store, run_id: str, ears: Ears) -> Iterator[Recorder]:
    recorder = Recorder(store, run_id, ears)
    recorder.start()
    try:
        yield recorder
    finally:
        recorder.close(PATIENCE_S)


def sighting(at: PointPx = BORE) -> Sighted:
    return replace(a_sighting(at), radius_px=RADIUS)


def whole(frame_id: int = 1) -> Picture:
    return Picture(image=tip(), kind=PictureKind.FULL, origin_px=(0, 0), frame_id=frame_id)


def crop(left: int, top: int, frame_id: int = 2) -> Picture:
    image = tip()[top : top + 120, left : left + 120]
    return Picture(image=image, kind=PictureKind.CROP, origin_px=(left, top), frame_id=frame_id)


FACTS: list[Fact] = [Prepared(ticked=("cold",)), Homed(tool=0), Homed(tool=1), Homed(tool=0)]


# In order ------------------------------------------------------------------------------


def test_what_is_there_is_told_at_the_start(store: TroubledStore, ears: Ears) -> None:
    run_id = store.start_run(a_start())
    store.append(run_id, FACTS[0])
    with recording(store, run_id, ears):
        ears.wait_until(lambda: bool(ears.records))
    assert ears.facts() == [a_start(), FACTS[0]]


def test_facts_are_on_disk_in_their_order_when_they_are_told(
    store: TroubledStore, ears: Ears
) -> None:
    run_id = store.start_run(a_start())
    with recording(store, run_id, ears) as recorder:
        for fact in FACTS:
            recorder.add(fact)
        ears.wait_until(recorder.is_idle)
        assert [entry.fact for entry in store.entries(run_id)] == [a_start(), *FACTS]
    told = [len(record.snapshot.run.entries) for record in ears.records]
    assert told == [1, 2, 3, 4, 5]


def test_it_is_idle_only_when_all_is_written_and_told(store: TroubledStore, ears: Ears) -> None:
    run_id = store.start_run(a_start())
    store.append_faults = [FULL_DISK]
    with recording(store, run_id, ears) as recorder:
        ears.wait_until(recorder.is_idle)
        recorder.add(FACTS[0])
        assert not recorder.is_idle()
        ears.wait_until(lambda: bool(ears.refused))
        assert not recorder.is_idle()
        recorder.retry()
        ears.wait_until(recorder.is_idle)
        assert ears.facts()[-1] == FACTS[0]


# A disk that does not take it ----------------------------------------------------------


def test_what_a_full_disk_refused_is_written_in_order_once_there_is_room(
    store: TroubledStore, ears: Ears
) -> None:
    run_id = store.start_run(a_start())
    store.append_faults = [None, FULL_DISK]
    with recording(store, run_id, ears) as recorder:
        for fact in FACTS:
            recorder.add(fact)
        ears.wait_until(lambda: bool(ears.refused))
        assert ears.refused == [FULL_DISK]
        assert ears.facts() == [a_start(), FACTS[0]]
        recorder.retry()
        ears.wait_until(recorder.is_idle)
    assert [entry.fact for entry in store.entries(run_id)] == [a_start(), *FACTS]


def test_a_disk_that_stays_full_is_told_of_at_each_try(store: TroubledStore, ears: Ears) -> None:
    run_id = store.start_run(a_start())
    store.append_faults = [FULL_DISK, FULL_DISK]
    with recording(store, run_id, ears) as recorder:
        recorder.add(FACTS[0])
        ears.wait_until(lambda: len(ears.refused) == 1)
        recorder.retry()
        ears.wait_until(lambda: len(ears.refused) == 2)
        recorder.retry()
        ears.wait_until(recorder.is_idle)
    assert [entry.fact for entry in store.entries(run_id)] == [a_start(), FACTS[0]]


def test_a_write_that_failed_but_reached_the_disk_is_not_made_twice(
    store: TroubledStore, ears: Ears
) -> None:
    run_id = store.start_run(a_start())
    store.append_faults, store.lands_all_the_same = [FULL_DISK], True
    with recording(store, run_id, ears) as recorder:
        recorder.add(sighting(), [whole()])
        recorder.add(FACTS[1])
        ears.wait_until(lambda: bool(ears.refused))
        recorder.retry()
        ears.wait_until(recorder.is_idle)
    assert [entry.fact for entry in store.entries(run_id)] == [a_start(), sighting(), FACTS[1]]
    assert list(ears.records[-1].thumbnails) == [2]


def test_a_run_that_cannot_be_read_for_a_moment_is_told_and_read_again(
    store: TroubledStore, ears: Ears
) -> None:
    run_id = store.start_run(a_start())
    with recording(store, run_id, ears) as recorder:
        ears.wait_until(recorder.is_idle)
        store.read_faults = [FULL_DISK]
        recorder.add(FACTS[0])
        ears.wait_until(lambda: bool(ears.refused))
        recorder.retry()
        ears.wait_until(recorder.is_idle)
        assert ears.facts() == [a_start(), FACTS[0]]


@on_posix
def test_a_disk_that_is_really_full_keeps_the_sighting_until_there_is_room(
    tmp_path: Path, ears: Ears
) -> None:
    import resource

    noise = np.random.default_rng(1).integers(0, 256, size=(300, 400), dtype=np.uint8)
    big = Picture(image=noise, kind=PictureKind.FULL, origin_px=(0, 0), frame_id=1)
    usual = resource.getrlimit(resource.RLIMIT_FSIZE)
    with Store(tmp_path) as store:
        run_id = store.start_run(a_start())
        with recording(store, run_id, ears) as recorder:
            ears.wait_until(recorder.is_idle)
            resource.setrlimit(resource.RLIMIT_FSIZE, (50_000, usual[1]))
            try:
                recorder.add(sighting(), [big])
                ears.wait_until(lambda: bool(ears.refused))
            finally:
                resource.setrlimit(resource.RLIMIT_FSIZE, usual)
            assert ears.refused[0].code == "records-full"
            assert len(store.entries(run_id)) == 1
            recorder.retry()
            ears.wait_until(recorder.is_idle)
        assert [entry.fact for entry in store.entries(run_id)] == [a_start(), sighting()]
        assert len(store.pictures(run_id, 2)) == 1


# Faults --------------------------------------------------------------------------------


def test_a_fact_that_can_be_in_no_record_is_told_and_holds_up_nothing(
    store: TroubledStore, ears: Ears
) -> None:
    run_id = store.start_run(a_start())
    with recording(store, run_id, ears) as recorder:
        recorder.add(a_start())
        recorder.add(FACTS[0])
        ears.wait_until(recorder.is_idle)
    assert isinstance(ears.faults[0], ValueError)
    assert [entry.fact for entry in store.entries(run_id)] == [a_start(), FACTS[0]]


@pytest.mark.parametrize("where", ["append_faults", "read_faults"])
def test_a_fault_in_the_program_is_told_and_loses_no_fact(
    where: str, store: TroubledStore, ears: Ears
) -> None:
    run_id = store.start_run(a_start())
    with recording(store, run_id, ears) as recorder:
        ears.wait_until(recorder.is_idle)
        fault = RuntimeError("a thread too many")
        setattr(store, where, [fault])
        recorder.add(FACTS[0])
        recorder.add(FACTS[1])
        ears.wait_until(lambda: bool(ears.refused))
        assert ears.faults == [fault]
        assert "try again" in ears.refused[0].message
        recorder.retry()
        ears.wait_until(recorder.is_idle)
        assert ears.facts() == [a_start(), FACTS[0], FACTS[1]]


def test_a_sighting_without_a_radius_costs_its_thumbnail_only(
    store: TroubledStore, ears: Ears
) -> None:
    run_id = store.start_run(a_start())
    with recording(store, run_id, ears) as recorder:
        recorder.add(replace(sighting(), radius_px=0.0), [whole()])
        ears.wait_until(recorder.is_idle)
        assert len(ears.facts()) == 2
    assert ears.faults == []


def test_who_cannot_hear_of_one_fact_costs_no_other(store: TroubledStore, ears: Ears) -> None:
    run_id = store.start_run(a_start())
    ears.deaf_to = [RuntimeError("gone"), RuntimeError("gone")]
    with recording(store, run_id, ears) as recorder:
        for fact in FACTS:
            recorder.add(fact)
        ears.wait_until(recorder.is_idle)
    assert len(ears.faults) == 2
    assert [entry.fact for entry in store.entries(run_id)] == [a_start(), *FACTS]
    assert ears.facts() == [a_start(), *FACTS]


# The end -------------------------------------------------------------------------------


def test_to_close_writes_what_is_queued(store: TroubledStore, ears: Ears) -> None:
    run_id = store.start_run(a_start())
    recorder = Recorder(store, run_id, ears)
    recorder.start()
    for fact in FACTS:
        recorder.add(fact)
    recorder.close(PATIENCE_S)
    recorder.close(PATIENCE_S)

    assert [entry.fact for entry in store.entries(run_id)] == [a_start(), *FACTS]
    assert "writing" not in [thread.name for thread in threading.enumerate()]
    with pytest.raises(ValueError, match="closed"):
        recorder.add(FACTS[0])


def test_to_close_tries_a_full_disk_once_more(store: TroubledStore, ears: Ears) -> None:
    run_id = store.start_run(a_start())
    store.append_faults = [FULL_DISK]
    with recording(store, run_id, ears) as recorder:
        recorder.add(FACTS[0])
        ears.wait_until(lambda: bool(ears.refused))
    assert [entry.fact for entry in store.entries(run_id)] == [a_start(), FACTS[0]]


def test_to_close_on_a_disk_that_stays_full_ends_all_the_same(
    store: TroubledStore, ears: Ears
) -> None:
    run_id = store.start_run(a_start())
    store.append_faults = [FULL_DISK] * 9
    with recording(store, run_id, ears) as recorder:
        recorder.add(FACTS[0])
        ears.wait_until(lambda: bool(ears.refused))
    assert "writing" not in [thread.name for thread in threading.enumerate()]
    assert [entry.fact for entry in store.entries(run_id)] == [a_start()]


def test_a_recorder_that_was_never_started_can_be_closed(store: TroubledStore, ears: Ears) -> None:
    Recorder(store, store.start_run(a_start()), ears).close(PATIENCE_S)
    assert ears.records == []


# Thumbnails ----------------------------------------------------------------------------


def test_a_thumbnail_shows_the_bore_in_its_middle() -> None:
    small = thumbnail_of(whole(), BORE, RADIUS)

    assert small.shape == (THUMBNAIL_PX, THUMBNAIL_PX)
    assert small.dtype == np.uint8
    assert not small.flags.writeable
    rows, columns = np.mgrid[:THUMBNAIL_PX, :THUMBNAIL_PX] - (THUMBNAIL_PX - 1) / 2
    away = np.hypot(rows, columns) * 2 * THUMBNAIL_RADII / THUMBNAIL_PX
    # The scene has 15 in the bore, 165 on the land and a noise of 2 grey levels.
    assert np.abs(small[away < 0.85] - 15.0).max() < 12
    assert np.abs(small[(away > 1.15) & (away < 1.9)] - 165.0).max() < 12


def test_a_crop_and_its_whole_frame_give_one_thumbnail() -> None:
    from_whole = thumbnail_of(whole(), BORE, RADIUS)
    from_crop = thumbnail_of(crop(60, 40), BORE, RADIUS)
    np.testing.assert_allclose(from_crop, from_whole, atol=1)


def test_a_deep_picture_gives_the_same_thumbnail() -> None:
    deep = replace(whole(), image=tip().astype(np.uint16) * 257)
    np.testing.assert_array_equal(
        thumbnail_of(deep, BORE, RADIUS), thumbnail_of(whole(), BORE, RADIUS)
    )


def test_a_bore_at_the_edge_has_black_beyond_the_picture() -> None:
    small = thumbnail_of(whole(), PointPx(0.0, 100.0), RADIUS)
    assert (small[:, : THUMBNAIL_PX // 2 - 2] == 0).all()
    assert (small[:, THUMBNAIL_PX // 2 + 2 :] > 0).all()


def test_a_large_bore_is_averaged_not_sampled() -> None:
    noise = np.random.default_rng(3).integers(0, 256, size=(900, 900), dtype=np.uint8)
    large = Picture(image=noise, kind=PictureKind.FULL, origin_px=(0, 0), frame_id=1)
    small = thumbnail_of(large, PointPx(450.0, 450.0), 200.0)
    # Eight by eight pixels of uniform noise (sigma 74) made one: about 9.
    assert float(small.std()) < 20.0


def test_a_new_sighting_has_a_thumbnail_without_reading_its_file(
    store: TroubledStore, ears: Ears
) -> None:
    run_id = store.start_run(a_start())
    with recording(store, run_id, ears) as recorder:
        recorder.add(sighting(), [whole(), crop(60, 40)])
        recorder.add(sighting())
        ears.wait_until(recorder.is_idle)
    thumbnails = ears.records[-1].thumbnails
    assert list(thumbnails) == [2]
    np.testing.assert_array_equal(thumbnails[2], thumbnail_of(whole(), BORE, RADIUS))
    assert store.pictures_read == 0


def test_an_opened_run_has_the_thumbnails_it_had(store: TroubledStore, ears: Ears) -> None:
    run_id = store.start_run(a_start())
    with recording(store, run_id, ears) as recorder:
        recorder.add(sighting(), [whole()])
        recorder.add(FACTS[0])
        recorder.add(sighting(PointPx(120.0, 98.0)), [whole(2)])
        ears.wait_until(recorder.is_idle)
    again = Ears()
    with recording(store, run_id, again):
        again.wait_until(lambda: bool(again.records))
    before, after = ears.records[-1].thumbnails, again.records[0].thumbnails
    assert list(after) == [2, 4]
    for number in after:
        np.testing.assert_array_equal(after[number], before[number])


def test_missing_and_altered_pictures_are_left_out_with_a_word_each(
    store: TroubledStore, ears: Ears, caplog: pytest.LogCaptureFixture
) -> None:
    run_id = store.start_run(a_start())
    for frame_id in (1, 2, 3):
        store.append(run_id, sighting(), [whole(frame_id)])
    files = sorted((store.folder / "pictures" / run_id).iterdir())
    files[0].unlink()
    files[1].write_bytes(files[1].read_bytes() + b"x")
    with caplog.at_level(logging.WARNING), recording(store, run_id, ears) as recorder:
        for fact in FACTS:
            recorder.add(fact)
        ears.wait_until(recorder.is_idle)
    assert list(ears.records[-1].thumbnails) == [4]
    words = [record.getMessage() for record in caplog.records]
    assert sum("is missing" in line for line in words) == 1
    assert sum("SHA-256 differs" in line for line in words) == 1


def test_what_was_told_before_does_not_change_later(store: TroubledStore, ears: Ears) -> None:
    run_id = store.start_run(a_start())
    with recording(store, run_id, ears) as recorder:
        recorder.add(sighting(), [whole()])
        ears.wait_until(recorder.is_idle)
        first = ears.records[-1]
        recorder.add(sighting(), [whole(2)])
        ears.wait_until(recorder.is_idle)
    assert list(first.thumbnails) == [2]
    with pytest.raises(TypeError):
        first.thumbnails[9] = first.thumbnails[2]  # type: ignore[index]  # that it cannot be
