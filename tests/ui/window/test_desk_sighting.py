"""The desk takes sightings, by a key and without one, and says why it does not."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from app.bench import bench_profile
from app.job.by_hand import Typed
from app.job.facts import (
    Position,
    PositionMode,
    Purpose,
    Sighted,
)
from app.job.interfaces import PictureKind
from app.job.sheet import (
    PREPARATION,
    Export,
    SightScale,
    SightTool,
)
from app.ui import intentions as want
from app.wiring.asks import STOPPED
from app.wiring.opening import RunChoice, open_run
from app.wiring.watching import DEFAULT_WATCH
from tests.ui.states import facts_until, picture
from tests.ui.window.conftest import our_threads
from tests.ui.window.seat import (
    HERE,
    WAIT_MS,
    FullStore,
    Seat,
    Sit,
    at_first_place,
    at_reference,
    bore_at,
    half_scale,
    seated,
    seats,
    until,
)
from tests.wiring.watch_fakes import CommandedCamera, tip


@pytest.fixture
def sit(qtbot: QtBot, folder: Path) -> Iterator[Sit]:
    yield from seats(qtbot, folder)


# -- sighting ---------------------------------------------------------------------------


def test_a_sighting_is_recorded_at_the_typed_place_with_its_pictures(sit: Sit) -> None:
    seat = at_first_place(sit)
    seat.do(want.Proceed())
    assert seat.state().button == ""
    seat.burst()
    (entry,) = seat.sightings()
    seen = entry.fact
    assert isinstance(seen, Sighted)
    assert (seen.purpose, seen.tool) == (Purpose.SCALE, 0)
    assert seen.position == Position(150.0, 100.0, 5.0)
    assert seen.centre_px == pytest.approx((121.3, 99.6), abs=0.05)
    pictures = seat.store.pictures(seat.run_id, entry.number)
    kinds = [picture.kind for picture in pictures]
    assert len(kinds) == DEFAULT_WATCH.frames
    assert kinds.count(PictureKind.FULL) == 1
    assert set(seat.state().thumbnails) == {entry.number}
    step = seat.state().step
    assert isinstance(step, SightScale)
    assert step.expected is not None
    assert seat.state().typed.x == f"{step.expected.x:.2f}"


def test_a_tool_is_sighted_where_it_is_typed(sit: Sit) -> None:
    seat = at_reference(sit)
    seat.do(want.Proceed())
    seat.burst()
    seen = seat.sightings()[-1].fact
    assert isinstance(seen, Sighted)
    assert (seen.purpose, seen.tool) == (Purpose.TOOL, 0)
    assert seen.position[:2] == (150.0, 100.0)


def test_the_bench_of_the_program_is_sighted(qtbot: QtBot, tmp_path: Path) -> None:
    choice = RunChoice(
        profile=bench_profile("plover"), simulated=True, camera="bench", mode=PositionMode.SHOWN
    )
    with closing(FullStore(tmp_path / "data")) as store:
        opened = open_run(choice, store)
        seat = seated(qtbot, opened, store, CommandedCamera())
        with qtbot.waitSignal(seat.desk.changed, timeout=WAIT_MS):
            seat.desk.start()
        with closing(seat.desk):
            seat.do(*(want.Proceed() for _ in PREPARATION))
            seat.until(lambda: isinstance(seat.state().step, SightScale))
            seat.until(lambda: seat.desk.picture() is not None)
            seat.do(want.TypedPlace(HERE))
            seat.until(lambda: seat.state().blocked == "")
            seat.do(want.Proceed())
            seat.until(lambda: len(seat.state().snapshot.run.sightings) == 1)
    assert our_threads() == []


def test_nothing_is_sighted_while_no_position_is_typed(sit: Sit) -> None:
    seat = sit(until(SightScale), tip())
    seat.look()
    assert seat.state().blocked == "Type X as the display shows it."
    seat.do(want.Proceed())
    assert seat.state().burst is None
    assert seat.sightings() == []


def test_nothing_is_sighted_before_there_is_a_picture(sit: Sit) -> None:
    seat = sit(until(SightScale), tip())
    seat.do(want.TypedPlace(HERE), want.Proceed())
    assert seat.state().blocked
    assert seat.state().burst is None


def test_nothing_is_sighted_while_a_fact_is_on_its_way_to_the_disk(sit: Sit) -> None:
    seat = at_first_place(sit)
    seat.store.is_full = True
    seat.do(want.CameraWasMoved(why="knocked"), want.Proceed())
    assert seat.state().saving
    assert seat.state().burst is None


def test_a_second_press_during_a_sighting_asks_for_no_other(sit: Sit) -> None:
    seat = at_first_place(sit)
    seat.do(want.Proceed())
    first = seat.state().burst
    seat.do(want.Proceed())
    second = seat.state().burst
    assert first is not None
    assert second is not None
    assert second.ask == first.ask
    seat.burst()
    assert len(seat.sightings()) == 1


def test_a_sighting_that_is_stopped_says_so_and_records_nothing(sit: Sit) -> None:
    seat = at_first_place(sit)
    seat.do(want.Proceed(), want.Stop())
    seat.until(lambda: seat.state().burst is None)
    refused = seat.state().refused
    assert refused is not None
    assert refused.sentence == STOPPED
    assert seat.sightings() == []
    seat.do(want.Stop())
    assert seat.state().refused is None


def test_a_picture_without_a_tip_is_refused_with_its_remedy(sit: Sit) -> None:
    seat = at_first_place(sit)
    seat.do(want.Proceed())
    seat.show(picture("no-tip.jpg"))
    seat.burst()
    refused = seat.state().refused
    assert refused is not None
    assert refused.sentence
    assert refused.remedy
    assert seat.sightings() == []
    seat.do(want.TypedPlace(replace(HERE, x="150.10")))
    assert seat.state().refused is None


def test_a_bore_that_wanders_during_a_sighting_is_refused(sit: Sit) -> None:
    seat = at_first_place(sit)
    seat.do(want.Proceed())
    seat.camera.image_of = lambda number: tip((121.3 + 0.6 * number, 99.6), seed=number)
    seat.burst()
    refused = seat.state().refused
    assert refused is not None
    assert "moved" in refused.sentence
    assert "stands still" in refused.remedy
    assert seat.sightings() == []


# -- what the picture says --------------------------------------------------------------


def test_a_doubtful_place_is_taken_only_with_a_second_press(sit: Sit) -> None:
    seat = at_reference(sit)
    seat.do(want.TypedPlace(Typed(x="150.43", y="100.00")), want.Proceed())
    assert seat.state().keep_doubtful
    assert seat.state().burst is None
    assert seat.state().button == "Keep 150.43"
    seat.do(want.Proceed())
    seat.burst()
    seen = seat.sightings()[-1].fact
    assert isinstance(seen, Sighted)
    assert seen.position.x == 150.43
    assert not seat.state().keep_doubtful


def test_a_doubt_is_forgotten_when_something_is_typed(sit: Sit) -> None:
    seat = at_reference(sit)
    seat.do(want.TypedPlace(Typed(x="150.43", y="100.00")), want.Proceed())
    seat.do(want.TypedPlace(Typed(x="150.44", y="100.00")))
    assert not seat.state().keep_doubtful
    seat.do(want.Proceed())
    assert seat.state().burst is None
    seat.do(want.Stop())
    assert not seat.state().keep_doubtful


def test_a_doubt_is_forgotten_when_the_bore_comes_to_the_typed_place(sit: Sit) -> None:
    seat = at_reference(sit)
    seat.do(want.TypedPlace(Typed(x="150.43", y="100.00")), want.Proceed())
    seat.look()
    assert seat.state().keep_doubtful
    seat.show(bore_at((0.43, 0.0)))
    seat.look()
    assert not seat.state().keep_doubtful
    seat.show(bore_at((0.0, 0.0)))
    seat.look()
    seat.do(want.Proceed())
    assert seat.state().burst is None


def test_the_values_of_the_picture_fill_the_fields(sit: Sit) -> None:
    seat = at_reference(sit)
    seat.do(want.TypedPlace(Typed(x="150.43", y="100.00")), want.TakePictures())
    assert float(seat.state().typed.x) == pytest.approx(150.0, abs=0.02)
    assert seat.state().typed.y == "100.00"
    entry = seat.state().entry
    assert entry is not None
    assert entry.doubt is None


def test_the_place_of_the_reference_fills_the_fields(sit: Sit) -> None:
    seat = sit(facts_until(lambda step: isinstance(step, SightTool) and step.tool == 2))
    seat.do(want.TypedPlace(Typed(x="1", y="2")), want.SameAsReference())
    assert (seat.state().typed.x, seat.state().typed.y) == ("150.00", "100.00")


def test_the_jogs_that_were_asked_for_fill_the_fields(sit: Sit) -> None:
    seat = sit(half_scale())
    step = seat.state().step
    assert isinstance(step, SightScale)
    assert step.expected is not None
    seat.do(want.TypedPlace(Typed(x="1", y="2")), want.JogsMade())
    assert seat.state().typed.x == f"{step.expected.x:.2f}"
    assert seat.state().typed.y == f"{step.expected.y:.2f}"


def test_fields_that_nobody_asks_for_are_not_filled(sit: Sit) -> None:
    seat = sit(until(Export))
    before = seat.state().typed
    seat.do(want.SameAsReference(), want.JogsMade(), want.TakePictures())
    assert seat.state().typed == before


# -- without a key ----------------------------------------------------------------------


def look_until_sighting(seat: Seat, most: int = 14) -> bool:
    """Look for longer than a bore has to stand still; say whether that led to a sighting."""
    for _ in range(most):
        seat.look()
        if seat.state().burst is not None:
            return True
    return False


def test_a_steady_bore_at_the_next_place_is_sighted_once(sit: Sit) -> None:
    seat = sit(half_scale())
    step = seat.state().step
    assert isinstance(step, SightScale)
    assert step.expected is not None
    shift = (step.expected.x - 150.0, step.expected.y - 100.0)
    before = seat.sightings()[-1].fact
    assert isinstance(before, Sighted)
    seat.do(want.SetAutomatic(on=True))
    seat.show(bore_at((before.position.x - 150.0, before.position.y - 100.0)))
    # Where it was sighted last it may stand as long as it likes.
    assert not look_until_sighting(seat)
    seat.show(bore_at(shift))
    assert look_until_sighting(seat)
    seat.burst()
    assert len(seat.sightings()) == 4
    assert not look_until_sighting(seat)
    assert len(seat.sightings()) == 4


def test_nothing_is_sighted_without_a_key_unless_that_is_switched_on(sit: Sit) -> None:
    seat = sit(half_scale())
    step = seat.state().step
    assert isinstance(step, SightScale)
    assert step.expected is not None
    seat.show(bore_at((step.expected.x - 150.0, step.expected.y - 100.0)))
    seat.do(want.SetAutomatic(on=True), want.SetAutomatic(on=False))
    assert not look_until_sighting(seat)
