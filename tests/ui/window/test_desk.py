"""The desk carries out what a person wants, on real records."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import nan
from pathlib import Path

import pytest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from app.errors import RecordsError
from app.job.facts import (
    CameraDisturbed,
    Entered,
    Exported,
    Fact,
    Homed,
    MirrorAccepted,
    Position,
    Prepared,
    Restored,
    Retyped,
    RunStarted,
    Sighted,
    Struck,
)
from app.job.sheet import (
    PREPARATION,
    ConfirmMirror,
    Done,
    EnterOffsets,
    Export,
    HomeFirst,
    Prepare,
    SightScale,
    SightTool,
)
from app.ui import intentions as want
from app.ui.desk import FILE, RECORDS
from app.ui.relay import Relay
from app.ui.result.texts import shown_texts
from app.ui.state import Weight
from app.wiring.recording import Recorded
from tests.ui.states import HERON
from tests.ui.window.conftest import our_threads
from tests.ui.window.seat import (
    WAIT_MS,
    Sit,
    at_first_place,
    half_scale,
    seats,
    until,
)
from vision.geometry import PointPx


@pytest.fixture
def sit(qtbot: QtBot, folder: Path) -> Iterator[Sit]:
    yield from seats(qtbot, folder)


# -- preparation ------------------------------------------------------------------------


def test_the_preparation_is_recorded_once_when_all_is_ticked(sit: Sit) -> None:
    seat = sit(until(Prepare))
    seat.do(*(want.Tick(item, on=True) for item in PREPARATION[:-1]))
    assert seat.state().ticked == frozenset(PREPARATION[:-1])
    assert not seat.state().saving
    assert seat.done(want.Proceed()) == Prepared(ticked=PREPARATION)
    assert isinstance(seat.state().step, SightScale)
    seat.do(want.Tick(PREPARATION[0], on=True))
    seat.settled()
    assert [type(entry.fact) for entry in seat.entries()] == [RunStarted, Prepared]


def test_proceed_ticks_one_item_after_the_other(sit: Sit) -> None:
    seat = sit(until(Prepare))
    for n in range(1, len(PREPARATION)):
        seat.do(want.Proceed())
        assert seat.state().ticked == frozenset(PREPARATION[:n])
    # More presses than items: the last ones find all ticked and on its way to the disk.
    seat.do(want.Proceed(), want.Proceed(), want.Proceed())
    seat.settled()
    assert [type(entry.fact) for entry in seat.entries()] == [RunStarted, Prepared]


def test_undo_takes_the_last_tick_back_and_records_nothing(sit: Sit) -> None:
    seat = sit(until(Prepare))
    seat.do(want.Proceed(), want.Proceed(), want.Proceed(), want.Undo())
    assert seat.state().ticked == frozenset(PREPARATION[:2])
    seat.do(want.Tick(PREPARATION[0], on=False))
    assert seat.state().ticked == {PREPARATION[1]}
    assert len(seat.entries()) == 1


# -- proceeding -------------------------------------------------------------------------


def test_proceed_says_that_the_machine_was_homed(sit: Sit) -> None:
    seat = sit(until(HomeFirst, profile=HERON))
    assert seat.done(want.Proceed()) == Homed(tool=1)
    assert isinstance(seat.state().step, SightTool)


def test_proceed_takes_the_offsets_then_enters_each_then_leaves(sit: Sit) -> None:
    seat = sit(until(Export))
    taken = seat.done(want.Proceed())
    assert isinstance(taken, Exported)
    assert [tool.tool for tool in taken.tools] == [0, 1, 2, 3, 4]
    assert seat.done(want.Proceed()) == Entered(tool=1)
    assert seat.done(want.SayEntered(3)) == Entered(tool=3)
    assert seat.done(want.Proceed()) == Entered(tool=2)
    assert seat.done(want.Proceed()) == Entered(tool=4)
    assert isinstance(seat.state().step, Done)
    assert seat.left == []
    seat.do(want.Proceed())
    assert seat.left == [None]


def test_two_presses_take_the_offsets_once(sit: Sit) -> None:
    seat = sit(until(Export))
    assert isinstance(seat.done(want.Proceed(), want.Proceed()), Exported)


def test_a_question_is_not_answered_by_proceeding(sit: Sit) -> None:
    seat = sit(until(ConfirmMirror, mirrored=True))
    n = len(seat.entries())
    seat.do(want.Proceed())
    assert not seat.state().saving
    assert len(seat.entries()) == n


def test_going_to_the_start_page_leaves_the_run_as_it_is(sit: Sit) -> None:
    seat = sit(until(Prepare))
    seat.do(want.ToStart())
    assert seat.left == [None]
    assert len(seat.entries()) == 1


# -- taking back ------------------------------------------------------------------------


def test_sightings_are_struck_out_and_restored(sit: Sit) -> None:
    seat = sit(half_scale())
    first, _, last = (entry.number for entry in seat.sightings())
    assert seat.done(want.StrikeLast()) == Struck(number=last, why="by hand")
    assert seat.done(want.StrikeOut(first)) == Struck(number=first, why="by hand")
    assert seat.done(want.Restore(last)) == Restored(number=last)
    counts = [sighting.counts for sighting in seat.state().snapshot.run.sightings]
    assert counts == [False, True, True]


def test_a_mistyped_place_is_retyped_and_that_is_undone(sit: Sit) -> None:
    seat = sit(half_scale())
    first = seat.sightings()[0]
    right = Position(150.01, 100.0, 5.0)
    assert seat.done(want.Retype(first.number, right)) == Retyped(
        number=first.number, position=right
    )
    assert seat.state().snapshot.run.sightings[0].seen.position == right
    assert seat.done(want.Undo()) == Struck(number=seat.entries()[-2].number, why="undone")
    assert seat.state().snapshot.run.sightings[0].seen.position == Position(150.0, 100.0, 5.0)


def test_there_is_nothing_to_take_back_at_the_beginning(sit: Sit) -> None:
    seat = sit(until(Prepare))
    seat.do(want.Undo(), want.StrikeLast())
    assert not seat.state().saving
    assert len(seat.entries()) == 1


# -- the camera -------------------------------------------------------------------------


def test_a_mirrored_picture_is_accepted(sit: Sit) -> None:
    seat = sit(until(ConfirmMirror, mirrored=True))
    assert seat.done(want.AnswerMirror(mirrored=True)) == MirrorAccepted(mirrored=True)
    assert isinstance(seat.state().step, SightTool)


def test_an_axis_with_the_wrong_sign_has_the_jogs_made_again(sit: Sit) -> None:
    seat = sit(until(ConfirmMirror, mirrored=True))
    assert isinstance(seat.done(want.AnswerMirror(mirrored=False)), CameraDisturbed)
    step = seat.state().step
    assert isinstance(step, SightScale)
    assert step.number == 1


def test_nobody_who_was_not_asked_answers_for_the_mirror(sit: Sit) -> None:
    seat = sit(half_scale())
    n = len(seat.entries())
    seat.do(want.AnswerMirror(mirrored=False))
    assert not seat.state().saving
    assert len(seat.entries()) == n


def test_a_camera_that_was_moved_has_the_jogs_made_again(sit: Sit) -> None:
    seat = sit(half_scale())
    assert seat.done(want.CameraWasMoved(why="knocked")) == CameraDisturbed(why="knocked")
    step = seat.state().step
    assert isinstance(step, SightScale)
    assert step.number == 1


# -- the result -------------------------------------------------------------------------


def warned() -> list[Fact]:
    """Return a run whose reference stands elsewhere in the end."""
    facts = until(Export)
    last = facts[-1]
    assert isinstance(last, Sighted)
    facts[-1] = replace(last, centre_px=PointPx(last.centre_px.u + 14.0, last.centre_px.v))
    return facts


def test_a_result_is_copied_only_when_taken_and_its_warnings_were_read(sit: Sit) -> None:
    seat = sit(warned())
    assert seat.state().snapshot.findings
    seat.do(want.Acknowledge(), want.CopyText())
    assert seat.copied == []
    seat.done(want.Proceed())
    texts = shown_texts(seat.state())
    assert texts is not None
    seat.do(want.CopyText(), want.CopyText("settings"), want.CopyText("moves"))
    assert seat.copied == [texts.all, texts.settings, texts.moves]
    assert all(f"G10 P{tool} " in texts.settings for tool in (1, 2, 3, 4))


def test_a_result_whose_warnings_nobody_read_is_neither_copied_nor_saved(
    sit: Sit, tmp_path: Path
) -> None:
    seat = sit(warned())
    seat.done(want.Proceed())
    file = tmp_path / "result.txt"
    seat.do(want.CopyText(), want.SaveAs(want.FileKind.TEXT, str(file)))
    assert seat.copied == []
    assert not file.exists()
    seat.do(want.Acknowledge(), want.CopyText(), want.SaveAs(want.FileKind.TEXT, str(file)))
    assert len(seat.copied) == 1
    assert file.read_text().strip() == seat.copied[0].strip()


def test_saving_says_where(sit: Sit, tmp_path: Path) -> None:
    seat = sit(until(EnterOffsets))
    seat.do(want.Acknowledge(), want.SaveAs(want.FileKind.CSV, str(tmp_path)))
    (file,) = tmp_path.glob("*.csv")
    (notice,) = seat.state().notices
    assert notice.key == FILE
    assert notice.weight is Weight.NOTE
    assert notice.sentence == f"Saved as {file}."


def test_a_place_that_cannot_be_written_to_is_a_sentence(sit: Sit, tmp_path: Path) -> None:
    seat = sit(until(EnterOffsets))
    missing = tmp_path / "not" / "there" / "result.csv"
    seat.do(want.Acknowledge(), want.SaveAs(want.FileKind.CSV, str(missing)))
    (notice,) = seat.state().notices
    assert notice.key == FILE
    assert notice.weight is Weight.WARNING
    assert str(missing.parent) in notice.sentence
    assert not missing.exists()


# -- when something fails ---------------------------------------------------------------


def test_what_the_disk_does_not_take_is_kept_and_tried_again(sit: Sit) -> None:
    seat = sit(until(HomeFirst, profile=HERON))
    n = len(seat.entries())
    seat.store.is_full = True
    seat.do(want.Proceed())
    seat.until(lambda: seat.state().notices != ())
    (notice,) = seat.state().notices
    assert (notice.key, notice.weight, notice.retry) == (RECORDS, Weight.FAULT, "Try again")
    assert "The disk is full" in notice.sentence
    assert seat.state().saving
    seat.desk.retry("another matter")
    assert seat.state().notices == (notice,)
    seat.store.is_full = False
    seat.desk.retry(RECORDS)
    assert seat.state().notices == ()
    seat.settled()
    assert [entry.fact for entry in seat.entries()[n:]] == [Homed(tool=1)]


def test_a_fact_that_can_be_in_no_record_holds_up_nothing(sit: Sit) -> None:
    seat = sit(half_scale())
    n = len(seat.entries())
    seat.do(want.Retype(seat.sightings()[0].number, Position(nan, 100.0, 5.0)))
    seat.until(lambda: len(seat.faults) == 1)
    seat.settled()
    assert len(seat.entries()) == n
    assert isinstance(seat.done(want.StrikeLast()), Struck)


def test_a_fault_of_the_camera_lets_nothing_be_recorded_twice(qtbot: QtBot, sit: Sit) -> None:
    seat = sit(until(HomeFirst, profile=HERON))
    n = len(seat.entries())
    seat.store.is_full = True
    seat.do(want.Proceed())
    seat.until(lambda: seat.state().notices != ())
    seat.camera.fault = ArithmeticError("no such number")
    seat.until(lambda: len(seat.faults) == 1)
    for _ in range(2):
        # The camera is looked at again and again, and what is lost with it.
        with qtbot.waitSignal(seat.desk.changed, timeout=WAIT_MS):
            pass
    assert seat.state().saving
    seat.do(want.Proceed())
    seat.store.is_full = False
    seat.desk.retry(RECORDS)
    seat.settled()
    assert [entry.fact for entry in seat.entries()[n:]] == [Homed(tool=1)]


# -- switches and cards -----------------------------------------------------------------


def test_a_card_opens_and_closes(sit: Sit) -> None:
    seat = sit(until(Prepare))
    seat.do(want.OpenCard("scale"))
    assert seat.state().open_card == "scale"
    seat.do(want.OpenCard("1"))
    assert seat.state().open_card == "1"
    seat.do(want.OpenCard("1"))
    assert seat.state().open_card is None
    seat.do(want.OpenCard("2"), want.Stop())
    assert seat.state().open_card is None


def test_switches_are_told_so_that_they_can_be_remembered(sit: Sit) -> None:
    seat = sit(until(Prepare))
    switched: list[object] = []
    seat.desk.switched.connect(switched.append)
    seat.do(want.SetSpeech(on=True), want.SetTone(on=True), want.SetSpeech(on=False))
    assert switched == [
        want.SetSpeech(on=True),
        want.SetTone(on=True),
        want.SetSpeech(on=False),
    ]
    assert (seat.state().speech, seat.state().tone, seat.state().automatic) == (False, True, False)
    seat.do(want.SetAutomatic(on=True))
    assert seat.state().automatic


# -- the end ----------------------------------------------------------------------------


def test_a_closed_desk_leaves_no_thread_and_does_nothing_more(sit: Sit) -> None:
    seat = sit(until(Prepare))
    changed: list[object] = []
    seat.desk.close()
    seat.desk.changed.connect(changed.append)
    seat.desk.close()
    assert our_threads() == []
    assert seat.camera.closed
    seat.do(*(want.Proceed() for _ in PREPARATION))
    QApplication.processEvents()
    assert changed == []
    assert len(seat.entries()) == 1


def test_what_was_wanted_last_is_on_disk_when_the_desk_is_closed(sit: Sit) -> None:
    seat = sit(until(HomeFirst, profile=HERON))
    seat.do(want.Proceed())
    seat.desk.close()
    assert seat.entries()[-1].fact == Homed(tool=1)


def test_closing_during_a_sighting_records_nothing(sit: Sit) -> None:
    seat = at_first_place(sit)
    seat.do(want.Proceed())
    seat.desk.close()
    QApplication.processEvents()
    assert seat.sightings() == []
    assert our_threads() == []


class DeafOnce:
    """A relay that meets a fault when the second report comes."""

    def __init__(self, relay: Relay) -> None:
        self._relay = relay
        self._reports = 0

    def recorded(self, recorded: Recorded) -> None:
        self._reports += 1
        if self._reports == 2:
            raise ArithmeticError("no such number")
        self._relay.recorded(recorded)

    def not_recorded(self, error: RecordsError) -> None:
        self._relay.not_recorded(error)

    def failed(self, error: Exception) -> None:
        self._relay.failed(error)


def test_a_report_that_a_fault_swallowed_is_not_waited_for(sit: Sit) -> None:
    seat = sit(until(Prepare), heard_by=DeafOnce)
    seat.do(*(want.Proceed() for _ in PREPARATION))
    seat.until(lambda: len(seat.faults) == 1)
    seat.settled()
    seat.do(want.Proceed())
    assert isinstance(seat.done(want.CameraWasMoved(why="knocked")), CameraDisturbed)
    assert isinstance(seat.state().step, SightScale)
    assert [type(e.fact) for e in seat.entries()] == [RunStarted, Prepared, CameraDisturbed]
