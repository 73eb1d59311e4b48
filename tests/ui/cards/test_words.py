"""What cards and opened cards say, without a window."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC
from functools import cache
from typing import cast

import numpy as np
import pytest

from app.job.checks import Finding
from app.job.facts import (
    CameraDisturbed,
    Entered,
    Fact,
    Homed,
    Purpose,
    Restored,
    Retyped,
    Sighted,
    Struck,
)
from app.job.run import UNDONE
from app.job.sheet import Export, MendScale, SightTool, next_step, sentence
from app.job.snapshot import Snapshot, snapshot_of
from app.ui.cards.chart import Shape
from app.ui.cards.page import Page
from app.ui.cards.past import past_sentence, with_now
from app.ui.cards.row_words import Card, cards_of
from app.ui.cards.scale_page import magnification, residuals_of, scale_page
from app.ui.cards.story import labels_of, story_of
from app.ui.cards.tool_page import tool_page
from app.ui.look.states import State
from app.ui.state import DeskState
from app.ui.task.mending import mends
from app.wiring.history import PastOffset
from tests.job.conftest import make_profile, run_of
from tests.ui.cards.shown import shown
from tests.ui.states import HERON, HISTORY, PLOVER, STATES, facts_until, state_of
from vision.bore import BoreSize
from vision.pixel_scale import PixelScale

NOW = "2026-11-25T10:00:14Z"


def cards(state: DeskState) -> dict[str, Card]:
    made = cards_of(state.snapshot, state.step, state.thumbnails)
    return {card.key: card for card in made}


@cache
def sighted_all() -> tuple[Fact, ...]:
    return tuple(facts_until(lambda step: isinstance(step, Export)))


def after(*more: Fact) -> DeskState:
    """Return the state of a whole run to which more happened."""
    return state_of(snapshot_of(run_of(*sighted_all(), *more)))


def numbers_of(snapshot: Snapshot, purpose: Purpose, tool: int = 0) -> list[int]:
    return [
        s.number
        for s in snapshot.run.sightings
        if s.seen.purpose is purpose and s.seen.tool == tool
    ]


def test_cards_stand_in_the_order_of_the_machine() -> None:
    assert list(cards(shown("tool"))) == ["scale", "0", "1", "2", "3", "4"]


def test_the_reference_is_marked_and_no_other() -> None:
    made = cards(shown("tool"))
    assert [key for key, card in made.items() if card.is_reference] == ["0"]
    assert made["0"].figures == ("reference",)
    assert "reference" in made["0"].name


@pytest.mark.parametrize(
    ("name", "key", "state", "word"),
    [
        ("preparation", "scale", State.WAITING, "to do"),
        ("first place", "scale", State.NEXT, "next"),
        ("scale half done", "scale", State.NEXT, "next"),
        ("mend the scale", "scale", State.BAD, "no scale"),
        ("mirrored", "scale", State.WARNING, "mirrored?"),
        ("tool", "scale", State.GOOD, "good"),
        ("tool", "0", State.GOOD, "sighted 1 of 2"),
        ("tool", "1", State.GOOD, "sighted"),
        ("tool", "2", State.NEXT, "next"),
        ("tool", "3", State.WAITING, "to do"),
        ("home first", "1", State.NEXT, "next"),
        ("struck out", "1", State.NEXT, "next, struck"),
        ("warning", "0", State.WARNING, "doubtful"),
        ("result", "0", State.GOOD, "sighted"),
    ],
)
def test_a_card_says_how_it_stands(name: str, key: str, state: State, word: str) -> None:
    card = cards(shown(name))[key]
    assert (card.state, card.word) == (state, word)
    assert card.name.endswith(word)


def test_exactly_one_card_is_next_while_something_is_to_be_sighted() -> None:
    for name in ("first place", "scale half done", "tool", "home first", "sixteen tools"):
        assert sum(card.is_next for card in cards(shown(name)).values()) == 1, name


def test_the_scale_card_counts_jogs_and_tells_scale_and_residuals() -> None:
    half = cards(shown("scale half done"))["scale"]
    assert half.title == "scale 3/6"
    state = shown("result")
    scale = cast("PixelScale", state.snapshot.scale)
    card = cards(state)["scale"]
    assert card.title == "scale 6/6"
    assert card.figures[0] == f"{scale.um_per_px:.2f} um/px"
    rms = float(np.sqrt(np.mean(np.square(scale.residuals_um))))
    assert card.figures[1] == f"RMS {rms:.1f} um"


def test_a_tool_card_tells_vector_and_the_larger_u() -> None:
    state = shown("result")
    assert state.snapshot.solution is not None
    offset = state.snapshot.solution.tool(2)
    card = cards(state)["2"]
    assert card.figures == (
        f"X {offset.vector_mm.x:+.3f}",
        f"Y {offset.vector_mm.y:+.3f}",
        f"U {1e3 * max(offset.expanded_mm[:2]):.0f} um",
    )
    assert all(figure in card.name for figure in card.figures)


def test_a_display_of_four_decimals_shows_four() -> None:
    profile = make_profile(display_step_mm=0.0005)
    facts = facts_until(lambda step: isinstance(step, Export), profile)
    card = cards(state_of(snapshot_of(run_of(*facts))))["1"]
    assert len(card.figures[0].split(".")[1]) == 4


def test_a_card_shows_its_last_sighting_that_counts() -> None:
    state = after()
    first, last = numbers_of(state.snapshot, Purpose.TOOL)
    assert cards(state)["0"].thumbnail == last
    assert cards(after(Struck(number=last, why="")))["0"].thumbnail == first


def test_a_struck_tool_that_is_not_next_says_so() -> None:
    plain = after()
    gone = [numbers_of(plain.snapshot, Purpose.TOOL, tool)[0] for tool in (1, 3)]
    state = after(*(Struck(number=number, why="a drop") for number in gone))
    assert isinstance(state.step, SightTool)
    other = next(tool for tool in (1, 3) if tool != state.step.tool)
    card = cards(state)[str(other)]
    assert (card.state, card.word, card.figures) == (State.STRUCK, "struck", ())


def test_a_moved_camera_makes_all_tools_outdated() -> None:
    made = cards(after(CameraDisturbed(why="knocked")))
    assert made["scale"].word == "next, outdated"
    assert made["3"].word == "outdated"
    assert made["3"].state is State.WARNING


def test_several_sightings_a_tool_are_counted() -> None:
    profile = make_profile(sightings_per_tool=2)
    facts = facts_until(lambda s: isinstance(s, SightTool) and s.tool == 2, profile)
    made = cards(state_of(snapshot_of(run_of(*facts))))
    assert made["1"].word == "sighted 1 of 2"
    assert made["0"].word == "sighted 1 of 3"


def scale(state: DeskState) -> Page:
    return scale_page(state.snapshot, state.step, UTC)


def test_the_scale_page_lists_each_jog_with_its_residual() -> None:
    state = shown("card of the scale")
    page, solved = scale(state), cast("PixelScale", state.snapshot.scale)
    assert [row.cells[0] for row in page.table.rows] == ["1", "2", "3", "4", "5", "6"]
    for row, (x, y) in zip(page.table.rows, solved.residuals_um, strict=True):
        assert float(row.cells[3]) == pytest.approx(x, abs=0.051)
        assert float(row.cells[4]) == pytest.approx(y, abs=0.051)
        assert row.cells[5] == "counts"


def test_arrows_point_along_the_residuals_as_much_larger_as_is_said() -> None:
    page = scale(shown("card of the scale"))
    residuals = residuals_of(shown("card of the scale").snapshot)
    assert page.chart is not None
    times = float(page.chart.sentence.split(" times larger")[0].split()[-1])
    for mark, row in zip(page.chart.marks, page.table.rows, strict=True):
        assert row.number is not None
        assert mark.tip is not None
        assert row.position is not None
        x, y = residuals[row.number]
        assert (mark.x, mark.y) == (row.position.x, row.position.y)
        assert mark.tip[0] - mark.x == pytest.approx(1e-3 * times * x)
        assert mark.tip[1] - mark.y == pytest.approx(1e-3 * times * y)


def test_nothing_is_magnified_where_there_is_no_scale() -> None:
    run = shown("scale half done").snapshot.run
    assert magnification(run.scale_sightings(), {}) == 0.0


def test_the_doubtful_jog_has_a_shape_and_the_pictures_suggestion() -> None:
    page = scale(shown("mend the scale"))
    assert page.chart is not None
    doubtful = [row for row in page.table.rows if row.doubtful]
    assert [row.name for row in doubtful] == ["jog 4"]
    row = doubtful[0]
    assert row.position is not None
    assert row.suggested is not None
    assert row.suggested.x == pytest.approx(row.position.x - 0.09, abs=0.011)
    assert f"the picture says X {row.suggested.x:.2f}" in row.tip
    assert [m.label for m in page.chart.marks if m.shape is Shape.DIAMOND] == ["4"]
    assert [m.label for m in page.chart.marks if m.tip is not None] == ["4"]
    assert float(row.cells[3]) == pytest.approx(-90.0, abs=10.0)
    assert page.chart.sentence.startswith("Jog 4 lies ")


def test_a_struck_jog_keeps_its_place_and_is_held_against_the_others() -> None:
    base = shown("card of the scale").snapshot
    number = numbers_of(base, Purpose.SCALE)[3]
    facts = [entry.fact for entry in base.run.entries]
    wrong = facts[number - 1]
    assert isinstance(wrong, Sighted)
    mistyped = wrong.position._replace(y=wrong.position.y + 0.2)
    more = (
        Retyped(number=number, position=mistyped),
        Struck(number=number, why="mistyped"),
    )
    page = scale(state_of(snapshot_of(run_of(*facts, *more))))
    row = page.table.rows[3]
    assert row.struck
    assert row.cells[5] == "struck"
    assert float(row.cells[4]) == pytest.approx(-200.0, abs=15.0)
    assert "struck: mistyped; retyped from X" in row.tip
    assert page.chart is not None
    assert page.chart.marks[3].shape is Shape.CROSS
    assert page.chart.marks[3].tip is None


def struck_and_mistyped() -> Snapshot:
    """Return a scale whose second jog was struck and made again, and whose fifth is wrong."""
    facts = facts_until(lambda step: isinstance(step, SightTool))
    jogs = [i for i, fact in enumerate(facts) if getattr(fact, "purpose", None) is Purpose.SCALE]
    again, wrong = facts[jogs[1]], facts[jogs[4]]
    assert isinstance(wrong, Sighted)
    facts[jogs[4]] = replace(wrong, position=wrong.position._replace(x=wrong.position.x + 0.09))
    made = facts[: jogs[-1] + 1]
    return snapshot_of(run_of(*made, Struck(number=jogs[1] + 1, why="a glint"), again))


def test_the_position_that_the_sentence_names_is_the_doubtful_row() -> None:
    snapshot = struck_and_mistyped()
    step = next_step(snapshot)
    assert isinstance(step, MendScale)
    said = re.match(r"The (\d+)\w\w position reads X ([\d.]+);", sentence(step, snapshot.run))
    assert said is not None
    page = scale_page(snapshot, step, UTC)
    (row,) = (row for row in page.table.rows if row.doubtful)
    (mend,) = mends(step, snapshot.run)
    assert (row.cells[0], row.cells[1]) == said.groups() == ("4", "149.49")
    assert (row.name, row.number) == ("jog 4", mend.number)
    assert mend.name == "4th"
    assert page.chart is not None
    assert [m.label for m in page.chart.marks if m.shape is Shape.DIAMOND] == ["4"]
    assert page.chart.sentence.startswith("Jog 4 lies ")


def test_jogs_that_do_not_count_are_lettered_in_table_plot_and_story() -> None:
    snapshot = struck_and_mistyped()
    page = scale_page(snapshot, next_step(snapshot), UTC)
    called = ["1", "a", "2", "3", "4", "5", "6"]
    assert [row.cells[0] for row in page.table.rows] == called
    assert [row.name for row in page.table.rows] == [f"jog {label}" for label in called]
    assert page.chart is not None
    assert [mark.label for mark in page.chart.marks] == called
    assert page.table.rows[1].struck
    assert "no. a struck: a glint" in page.story[-2]


def test_labels_of_outdated_jogs_go_on_past_z() -> None:
    jog = next(f for f in sighted_all() if isinstance(f, Sighted))
    started = sighted_all()[0]
    run = run_of(started, *[jog] * 28, CameraDisturbed(why="knocked"), jog)
    labels = list(labels_of(run).values())
    assert labels[:2] == ["a", "b"]
    assert labels[25:] == ["z", "aa", "bb", "1"]
    assert len(set(labels)) == len(labels)


def test_a_tools_sightings_are_counted_through_when_one_is_struck() -> None:
    first, last = numbers_of(after().snapshot, Purpose.TOOL)
    page = tool(after(Struck(number=first, why="a drop")), 0)
    assert [(row.number, row.cells[0]) for row in page.table.rows] == [(first, "1"), (last, "2")]
    assert page.chart is not None
    assert [mark.label for mark in page.chart.marks] == ["2"]
    assert "no. 1 struck: a drop" in page.story[-1]


def test_the_scale_page_tells_scale_rotation_mirroring_and_residuals() -> None:
    text = " ".join(scale(shown("card of the scale")).lines)
    assert "um per px" in text
    # The paper camera's +X lies at atan2(-11, 180).
    assert "3.5 deg counterclockwise" in text or "3.6 deg counterclockwise" in text
    assert "not mirrored" in text
    assert "RMS" in text
    assert "; mirrored;" in " ".join(scale(shown("mirrored")).lines)


def test_a_refused_scale_says_why_and_what_to_do() -> None:
    assert "Retype that position" in " ".join(scale(shown("mend the scale")).lines)


def test_before_the_third_jog_the_page_says_what_is_missing() -> None:
    page = scale(shown("first place"))
    assert page.chart is None
    assert page.table.rows == ()
    assert page.lines[0].startswith("0 of 6 jogs are made")


def tool(state: DeskState, number: int) -> Page:
    return tool_page(state, number, UTC)


def test_repeats_stand_where_they_miss_the_answer() -> None:
    state = shown("result")
    page = tool(state, 0)
    assert page.chart is not None
    assert state.snapshot.solution is not None
    order = [s.tool for s in state.snapshot.run.evidence().sightings]
    at = [i for i, number in enumerate(order) if number == 0]
    expected = state.snapshot.solution.residuals_um[at]
    assert [(m.x, m.y) for m in page.chart.marks] == [tuple(r) for r in expected]
    first = page.table.rows[0].cells[4].split()
    assert float(first[0]) == pytest.approx(expected[0, 0], abs=0.051)
    assert page.chart.sentence.startswith("2 sightings; no. ")


def test_u_is_the_dashed_box_of_a_tools_repeats() -> None:
    state = shown("result")
    page = tool(state, 1)
    assert page.chart is not None
    assert state.snapshot.solution is not None
    u_x, u_y, _ = state.snapshot.solution.tool(1).expanded_mm
    assert page.chart.box == pytest.approx((1e3 * u_x, 1e3 * u_y))
    assert page.chart.sentence.startswith("Sighted once")


def test_the_budget_names_the_largest_and_what_would_reduce_it() -> None:
    state = shown("result")
    assert state.snapshot.solution is not None
    budget = tool(state, 1).budget
    largest = state.snapshot.solution.tool(1).contributors[0]
    assert budget is not None
    assert budget.bars[0].name == largest.name
    assert largest.name in budget.sentence
    assert largest.remedy in budget.sentence
    sums = [np.hypot(bar.u_x_um, bar.u_y_um) for bar in budget.bars]
    assert sums == sorted(sums, reverse=True)


def test_the_reference_has_neither_budget_nor_past_but_a_closure() -> None:
    page = tool(shown("result"), 0)
    assert page.budget is None
    assert page.past is None
    assert any("came back to within" in line for line in page.lines)


def test_a_closure_that_failed_is_told_once_and_by_the_tables_numbers() -> None:
    page = tool(shown("warning"), 0)
    assert sum("came back" in line for line in page.lines) == 1
    assert not any("entry" in line for line in page.lines)
    assert any("no. 1" in line for line in page.lines)


def test_an_unsighted_tool_says_so() -> None:
    page = tool(shown("tool"), 3)
    assert page.lines == ("It has no sighting that counts yet.",)
    assert page.chart is None
    assert page.budget is None
    assert page.table.rows == ()


def test_the_past_tells_the_movement_since_the_run_before() -> None:
    state = shown("card of a tool")
    page = tool(state, 1)
    assert page.past is not None
    assert page.past.chart is not None
    assert page.past.table is not None
    assert state.snapshot.solution is not None
    moved = 1e3 * (state.snapshot.solution.tool(1).vector_mm.x - HISTORY[1][-1].vector_mm.x)
    assert page.past.sentence.startswith(f"Moved by {round(moved):+d} um in X and ")
    assert "since 11 Oct" in page.past.sentence
    assert "beyond what both uncertainties allow in X" in page.past.sentence
    assert len(page.past.table.rows) == len(HISTORY[1]) + 1
    assert len(page.past.chart.marks) == 2 * (len(HISTORY[1]) + 1)
    assert page.past.chart.marks[0].half == pytest.approx(16.0)


def test_without_an_earlier_run_the_past_says_so() -> None:
    past = tool(shown("entering"), 1).past
    assert past is not None
    assert past.chart is None
    assert past.table is None
    assert past.sentence.startswith("No earlier run")


def test_an_unsighted_tool_tells_where_it_was_last() -> None:
    sentence = past_sentence(HISTORY[1], NOW, has_now=False, zone=UTC)
    assert sentence == "Last known on 11 Oct: X +0.140 Y -0.070 mm."


def test_a_run_is_not_held_against_itself() -> None:
    state = shown("result")
    assert state.snapshot.solution is not None
    offset = state.snapshot.solution.tool(1)
    own = PastOffset(
        at=NOW, run_id="here", vector_mm=offset.vector_mm, expanded_mm=offset.expanded_mm[:2]
    )
    seen = with_now((*HISTORY[1], own), offset, "here", NOW)
    assert len(seen) == len(HISTORY[1]) + 1


def test_a_small_movement_is_not_called_one() -> None:
    then, last = HISTORY[1][2:]
    sentence = past_sentence((then, last), NOW, has_now=True, zone=UTC)
    assert sentence == (
        "Moved by +8 um in X and +4 um in Y since 11 Aug: no more than both uncertainties allow."
    )


def test_the_story_tells_striking_restoring_and_retyping_in_order() -> None:
    base = shown("result").snapshot
    number = numbers_of(base, Purpose.TOOL, 1)[0]
    place = next(s.seen.position for s in base.run.sightings if s.number == number)
    facts = [entry.fact for entry in base.run.entries]
    run = run_of(
        *facts,
        Struck(number=number, why="a drop came off"),
        Restored(number=number),
        Retyped(number=number, position=place._replace(x=150.34)),
        Struck(number=len(facts) + 3, why=UNDONE),
    )
    story = story_of(run, Purpose.TOOL, 1, UTC)
    assert [line.split("  ", 1)[1] for line in story] == [
        f"sighted at X {place.x:.2f} Y {place.y:.2f}",
        "no. 1 struck: a drop came off",
        "no. 1 counts again",
        f"no. 1 retyped from X {place.x:.2f} Y {place.y:.2f} to X 150.34 Y {place.y:.2f}",
        "no. 1: the retyping was taken back",
    ]
    assert story[0].startswith(f"10:00:{number:02d}")


def test_homing_and_entering_belong_to_the_tools_story() -> None:
    facts = facts_until(lambda step: isinstance(step, Export), HERON)
    run = run_of(*facts, Entered(tool=1))
    told = " ".join(story_of(run, Purpose.TOOL, 1, UTC))
    assert any(isinstance(fact, Homed) for fact in facts)
    assert "homed" in told
    assert "its new offset was entered" in told
    assert "entered" not in " ".join(story_of(run, Purpose.TOOL, 0, UTC))


def test_a_disturbed_camera_is_told_to_those_it_outdates() -> None:
    state = after(CameraDisturbed(why="knocked"))
    page = tool(state, 2)
    assert page.story[-1].endswith("camera disturbed: knocked")
    assert page.table.rows[0].tip == "outdated: knocked"
    assert page.table.rows[0].cells[4] == "-"


def test_the_answer_about_mirroring_belongs_to_the_scales_story() -> None:
    facts = facts_until(lambda s: isinstance(s, SightTool), PLOVER, mirrored=True)
    told = " ".join(story_of(run_of(*facts), Purpose.SCALE, 0, UTC))
    assert "you said: the picture is mirrored" in told


def test_the_text_for_the_clipboard_holds_all_tables() -> None:
    page = tool(shown("card of a tool"), 1)
    text = page.text()
    for name in ("sightings", "budget", "offsets over earlier runs"):
        assert f"Tool 1: {name}\n" in text
    lines = page.table.text().splitlines()
    assert lines[0].split("\t") == list(page.table.headers)
    assert lines[1].split("\t") == list(page.table.rows[0].cells)


@pytest.mark.parametrize("name", STATES)
def test_every_state_has_pages_for_all_cards(name: str) -> None:
    state = shown(name)
    for key in cards(state):
        page = scale(state) if key == "scale" else tool(state, int(key))
        assert page.title
        assert page.lines
        assert page.word
        assert all(len(row.cells) == len(page.table.headers) for row in page.table.rows)


def test_a_doubtful_repeat_has_a_shape_of_its_own() -> None:
    page = tool(shown("warning"), 0)
    assert page.chart is not None
    assert Shape.DIAMOND in {mark.shape for mark in page.chart.marks}


def with_bore(name: str, tool: int, *findings: Finding) -> DeskState:
    """Return a state in which a tool's bore was measured."""
    state = shown(name)
    size = BoreSize(diameter_um=471.2, u_um=13.0, out_of_roundness_um=6.4)
    snapshot = replace(
        state.snapshot, bores={tool: size}, findings=(*state.snapshot.findings, *findings)
    )
    return replace(state, snapshot=snapshot)


@pytest.mark.parametrize("tool", [0, 1])
def test_a_card_tells_the_bore_that_was_measured(tool: int) -> None:
    state = with_bore("result", tool)
    assert "bore 0.471 mm, U 0.026 mm" in cards(state)[str(tool)].name
    assert (
        "The bore measures 0.471 mm, U 0.026 mm (k = 2); longest less shortest diameter 0.006 mm."
        in tool_page(state, tool).lines
    )
    assert "bore" not in cards(shown("result"))[str(tool)].name


def test_another_bore_is_marked_by_its_own_word_and_told_when_opened() -> None:
    said = "Tool 1: the bore measures 0.47 mm, 0.40 mm is expected: a worn or another nozzle."
    state = with_bore("result", 1, Finding(code="bore-size", message=said, path="tool 1"))
    card = cards(state)["1"]
    # Its place is not in doubt.
    assert (card.state, card.word, card.short_word) == (State.WARNING, "other bore", "bore")
    assert said in tool_page(state, 1).lines
