"""The words of the task panel, without Qt."""

from __future__ import annotations

from dataclasses import replace

import pytest

from app.dialects.values import OffsetMm
from app.job.facts import Position, Sighted
from app.job.interfaces import CameraState
from app.job.jogs import decimals_of
from app.job.run import fold
from app.job.sheet import (
    PREPARATION,
    ConfirmMirror,
    Done,
    EnterOffsets,
    Export,
    HomeFirst,
    MendScale,
    Prepare,
    SightTool,
    next_step,
)
from app.job.snapshot import snapshot_of
from app.ui.state import DeskState
from app.ui.task.mending import last_scale_entry, mends, picture_retype
from app.ui.task.words import (
    JOG_NOT_TYPED,
    KEPT,
    NO_PICTURE_YET,
    NOT_TYPED,
    SIGHTING_SAVED,
    STEP_SAVED,
    Mark,
    blocked_words,
    button_words,
    mark_of,
    mark_sentence,
    mark_words,
    next_item,
    number_of,
    panel_sentence,
    strip_words,
    take_words,
)
from tests.ui.states import LIVE, LOST, STATES, entry_at, fit
from tests.ui.task.more_states import ALL_STATES, MORE
from vision.bore import BoreFit, BoreRefusal

TOOL = SightTool(tool=2, closing=False, expected=Position(150.0, 100.0))
AT = entry_at(Position(150.0, 100.0))
WRONG = entry_at(Position(150.43, 100.0), picture_says_x_mm=150.34)


@pytest.mark.parametrize(
    ("step", "words"),
    [
        (Prepare(left=PREPARATION), "Nozzles are cold"),
        (Prepare(left=PREPARATION[2:]), "Tips are clean"),
        (TOOL, "Sight tool 2"),
        (HomeFirst(tool=1), "Homed"),
        (Export(findings=()), "Take the offsets"),
        (EnterOffsets(tools=(3, 4)), "Tool 3 is entered"),
        (MendScale(refusal=None, doubtful=(), numbers=()), ""),
        (ConfirmMirror(), ""),
        (Done(), ""),
    ],
)
def test_the_button_says_the_one_thing_to_do(step: object, words: str) -> None:
    assert button_words(step) == words  # type: ignore[arg-type]  # one of each step


def test_what_is_ticked_but_not_recorded_moves_the_button_on() -> None:
    step = Prepare(left=PREPARATION)
    assert button_words(step, ticked={"nozzles-cold"}) == "Filament is back"
    assert button_words(step, ticked=set(PREPARATION)) == ""
    assert next_item(step, set(PREPARATION)) is None


def test_a_doubtful_number_is_kept_only_once_that_was_said() -> None:
    assert button_words(TOOL, entry=WRONG) == "Sight tool 2"
    assert button_words(TOOL, entry=WRONG, keep_doubtful=True) == "Keep 150.43"
    assert button_words(TOOL, entry=AT, keep_doubtful=True) == "Sight tool 2"
    both = MORE["both typed wrong"]().entry
    assert button_words(TOOL, entry=both, keep_doubtful=True) == "Keep both"


def test_while_a_sighting_runs_there_is_nothing_to_press_but_stop() -> None:
    assert button_words(TOOL, entry=AT, burst_running=True) == ""


def blocked(**changes: object) -> str:
    plain: dict[str, object] = {
        "entry": AT,
        "answer": fit(),
        "camera": LIVE,
        "hint": "",
        "saving": False,
    }
    step = changes.pop("step", TOOL)
    return blocked_words(step, **(plain | changes))  # type: ignore[arg-type]  # built by name


def test_a_bore_in_view_and_a_place_typed_block_nothing() -> None:
    assert isinstance(fit(), BoreFit)
    assert blocked() == ""


def test_a_doubt_does_not_block() -> None:
    assert blocked(entry=WRONG) == ""


def test_saving_blocks_every_step() -> None:
    assert blocked(saving=True) == SIGHTING_SAVED
    assert blocked(saving=True, step=HomeFirst(tool=1)) == STEP_SAVED


def test_a_lost_camera_blocks_a_sighting_with_its_own_sentence() -> None:
    assert blocked(camera=LOST) == LOST.sentence
    mute = replace(LOST, sentence="", state=CameraState.CLOSED)
    assert blocked(camera=mute) == "The camera is closed."


def test_a_lost_camera_does_not_block_what_needs_no_picture() -> None:
    for step in (HomeFirst(tool=1), Export(findings=()), EnterOffsets(tools=(1,))):
        assert blocked(camera=LOST, answer=None, step=step) == ""


def test_without_a_bore_the_hint_blocks() -> None:
    refusal = fit("no-tip.jpg")
    assert isinstance(refusal, BoreRefusal)
    assert blocked(answer=refusal, hint="Jog Y -1.") == "Jog Y -1."
    assert blocked(answer=refusal) == f"{refusal.message} {refusal.remedy}"
    assert blocked(answer=None) == NO_PICTURE_YET


def test_a_field_with_a_problem_blocks_with_its_sentence() -> None:
    bad = replace(AT, place=None, problem="X: 1.5.0 is no number.")
    assert blocked(entry=bad) == "X: 1.5.0 is no number."
    assert blocked(entry=replace(AT, place=None)) == NOT_TYPED
    assert blocked(entry=replace(AT, place=None, as_jogs=True)) == JOG_NOT_TYPED
    assert blocked(entry=None) == ""


def test_marks_say_what_the_picture_says() -> None:
    x = WRONG.axes[0]
    assert (mark_of(x), mark_words(x, 2)) == (Mark.DOUBTFUL, "picture 150.34")
    assert mark_words(x, 3) == "picture 150.340"
    assert mark_sentence(x, 2) == "The picture says X 150.34."
    assert mark_words(AT.axes[0], 2) == "agrees"
    problem = replace(x, problem="X is no number.")
    assert (mark_of(problem), mark_sentence(problem, 2)) == (Mark.PROBLEM, "X is no number.")
    empty = replace(x, text=" ", problem="X is empty.")
    assert (mark_of(empty), mark_words(empty, 2)) == (Mark.NONE, "")


def test_the_picture_s_values_can_be_taken_where_there_is_a_doubt() -> None:
    assert take_words(WRONG, 2) == "Take 150.34"
    assert take_words(AT, 2) == ""
    both = MORE["both typed wrong"]().entry
    assert both is not None
    assert take_words(both, 2) == "Take both"


@pytest.mark.parametrize(
    ("text", "number"),
    [("150.34", 150.34), ("150,34", 150.34), (" -0.5 ", -0.5), ("", None), ("1.2.3", None)],
)
def test_numbers_have_a_point_or_a_comma(text: str, number: float | None) -> None:
    assert number_of(text) == number


def test_no_number_is_endless() -> None:
    assert number_of("inf") is None


def test_the_sentence_does_not_say_again_what_the_list_says() -> None:
    assert panel_sentence(STATES["preparation"]()) == "Make ready (0 of 6)."
    assert panel_sentence(MORE["two carriages to prepare"]()) == "Make ready (2 of 6)."
    assert panel_sentence(MORE["fifteen to enter"]()).endswith("(0 of 15).")
    tool = STATES["tool"]()
    assert panel_sentence(tool) == tool.sentence


def test_the_strip_says_each_thing_once() -> None:
    assert strip_words(STATES["tool"]()) == ()
    hint = STATES["part of a rim"]()
    assert strip_words(hint) == (hint.hint,)
    assert strip_words(replace(hint, blocked=hint.hint)) == (hint.hint,)
    refused = STATES["refused"]()
    assert refused.refused is not None
    assert strip_words(refused) == (f"{refused.refused.sentence} {refused.refused.remedy}",)
    assert strip_words(MORE["saving"]()) == ()
    assert strip_words(MORE["both typed wrong"]()) == (KEPT,)


def mending() -> tuple[MendScale, DeskState]:
    state = STATES["mend the scale"]()
    assert isinstance(state.step, MendScale)
    return state.step, state


def test_the_picture_s_value_mends_the_scale() -> None:
    step, state = mending()
    run = state.snapshot.run
    (mend,) = mends(step, run)
    assert mend.name == "4th"
    assert mend.take_words == f"Take X {mend.picture_says.x:.2f}"
    # The state was made with 0.09 too much in X.
    assert mend.reads.x - mend.picture_says.x == pytest.approx(0.09, abs=1e-9)
    assert mend.retype.number == step.numbers[0]
    assert mend.retype.position.z == mend.reads.z
    assert picture_retype(step, run) == mend.retype


def with_two_mm_in_x(seen: Sighted) -> Sighted:
    return replace(
        seen,
        in_display_mm=OffsetMm(2.0, 0.0, 0.0),
        position=seen.position._replace(x=seen.position.x + 2.0),
    )


def test_mended_positions_are_what_the_display_shows_with_the_offset_in_it() -> None:
    step, state = mending()
    run = state.snapshot.run
    number = step.numbers[0]
    entries = tuple(
        replace(entry, fact=with_two_mm_in_x(entry.fact))
        if isinstance(entry.fact, Sighted)
        else entry
        for entry in run.entries
    )
    shifted = snapshot_of(fold(entries))
    again = next_step(shifted)
    assert isinstance(again, MendScale)
    (mend,) = mends(again, shifted.run)
    (plain,) = mends(step, run)
    assert mend.number == number
    assert mend.picture_says.x == pytest.approx(plain.picture_says.x + 2.0, abs=1e-9)


def test_the_last_jog_is_the_one_that_counts() -> None:
    run = STATES["mend the scale"]().snapshot.run
    assert last_scale_entry(run) == run.scale_sightings()[-1].number
    assert last_scale_entry(MORE["moved camera"]().snapshot.run) is None


@pytest.mark.parametrize("name", ALL_STATES)
def test_every_state_has_a_sentence(name: str) -> None:
    state = ALL_STATES[name]()
    assert panel_sentence(state)
    assert decimals_of(state.snapshot.run.profile.display_step_mm) == 2 or name == "moved camera"
