from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.dialects.values import Layout
from app.job.profile import MAX_TOOLS, Profile
from app.ui.start.draft import (
    Complaint,
    Draft,
    ToolDraft,
    check,
    draft_of,
    new_draft,
    number_of,
    with_layout,
    with_tool,
    without_tool,
)
from tests.job.conftest import make_profile
from tests.ui.start.conftest import DEMO


def complaint(draft: Draft, taken: frozenset[str] = frozenset()) -> Complaint:
    found = check(draft, taken=taken)
    assert isinstance(found, Complaint)
    return found


def named(**texts: str) -> Draft:
    draft = replace(new_draft(), name="Dunlin")
    return replace(draft, texts={**draft.texts, **texts})


@pytest.mark.parametrize("layout", list(Layout))
def test_a_name_is_all_that_a_new_machine_needs(layout: Layout) -> None:
    made = check(replace(new_draft(layout), name="Dunlin"))
    assert isinstance(made, Profile)
    assert (made.name, made.layout, len(made.tools)) == ("Dunlin", layout, 2)


@pytest.mark.parametrize("profile", [*DEMO, make_profile(reversal_um=12.5, whole_steps=True)])
def test_a_known_machine_comes_out_of_the_form_as_it_went_in(profile: Profile) -> None:
    assert check(draft_of(profile)) == profile


def test_what_was_left_at_its_default_follows_the_layout_and_what_was_typed_stays() -> None:
    draft = named(vector_limit_mm="2.5")
    after = with_layout(draft, Layout.FIXED_NOZZLES)
    assert after.dialect == "marlin"
    assert after.texts["pickup_repeatability_um"] == "0"
    assert after.texts["vector_limit_mm"] == "2.5"
    assert with_layout(draft, Layout.INDEPENDENT_CARRIAGES).flags["homes_between_tools"]
    chosen = replace(draft, dialect="reprapfirmware")
    assert with_layout(chosen, Layout.FIXED_NOZZLES).dialect == "reprapfirmware"


@pytest.mark.parametrize(
    ("name", "text", "sentence"),
    [
        ("repeatability_um", "abc", "Repeatability has to be a number, not a text (it is abc)."),
        ("display_step_mm", "7", "Display step has to lie from 0.0001 to 1 (it is 7)."),
        ("motor_step_mm", "-0.1", "Motor step has to lie from 0.0001 to 0.2 (it is -0.1)."),
        ("reversal_um", "1e9", "Backlash has to be a number, not a text (it is 1e9)."),
        ("reference_tool", "5", "Reference tool is not among the tools (it is 5)."),
        ("reference_tool", "0.5", "Reference tool has to be a whole number, not a number"),
        ("sightings_per_tool", "0", "Sightings per tool has to lie from 1 to 20 (it is 0)."),
    ],
)
def test_nonsense_is_refused_at_its_field_in_words(name: str, text: str, sentence: str) -> None:
    found = complaint(named(**{name: text}))
    assert found.field == name
    assert found.sentence.startswith(sentence)


@pytest.mark.parametrize(
    ("change", "row", "column", "words"),
    [
        ({"bore_mm": "9"}, 1, 1, "Bore in row 2 has to lie from 0.05 to 3 (it is 9)."),
        ({"z": "low"}, 1, 4, "Stored Z in row 2 has to be a number, not a text (it is low)."),
        ({"nominal_y": "900"}, 1, 6, "Design Y in row 2 has to lie from -500 to 500"),
        ({"number": ""}, 1, 0, "Number in row 2 has to be a whole number, not a text"),
    ],
)
def test_a_wrong_cell_is_named_with_its_row(
    change: dict[str, str], row: int, column: int, words: str
) -> None:
    tools = (ToolDraft(number="0"), replace(ToolDraft(number="1"), **change))
    found = complaint(replace(named(), tools=tools))
    assert (found.field, found.row, found.column) == ("tools", row, column)
    assert found.sentence.startswith(words)


def test_a_tool_named_twice_and_a_single_tool_are_refused() -> None:
    twice = complaint(replace(named(), tools=(ToolDraft(number="0"), ToolDraft(number="0"))))
    assert (twice.field, twice.row) == ("tools", None)
    assert "names tool 0 more than once" in twice.sentence
    assert "2 to 16 tools" in complaint(without_tool(named(), 1)).sentence


def test_travel_is_all_or_nothing_and_grows() -> None:
    half = complaint(replace(named(), travel_mm=("0", "", "0", "200", "0", "200")))
    assert (half.field, half.sentence[:11]) == ("travel_mm", "Travel of X")
    falls = complaint(replace(named(), travel_mm=("0", "300", "200", "0", "0", "200")))
    assert falls.sentence.startswith("Travel of Y has to go from a lower to a higher number")
    whole = check(replace(named(), travel_mm=("0", "300", "-10", "250,5", "0", "200")))
    assert isinstance(whole, Profile)
    assert whole.travel_mm == ((0.0, 300.0), (-10.0, 250.5), (0.0, 200.0))


def test_a_name_is_wanted_and_has_to_be_new() -> None:
    assert complaint(new_draft()).field == "name"
    assert "named Dunlin already" in complaint(named(), frozenset({"Dunlin"})).sentence


def test_an_unknown_dialect_is_refused_where_it_is_chosen() -> None:
    assert complaint(replace(named(), dialect="own-brew")).field == "dialect"


def test_tools_are_added_up_to_sixteen() -> None:
    draft = named()
    for _ in range(30):
        draft = with_tool(draft)
    assert [tool.number for tool in draft.tools] == [str(n) for n in range(MAX_TOOLS)]
    assert isinstance(check(draft), Profile)


@pytest.mark.parametrize(
    ("text", "number"), [("0,4", 0.4), (" 12 ", 12), (".5", 0.5), ("-3.", -3.0), ("0.40", 0.4)]
)
def test_numbers_are_read_with_point_or_comma(text: str, number: float) -> None:
    assert number_of(text) == number


@given(st.text(max_size=12), st.sampled_from(sorted(new_draft().texts)))
def test_no_text_in_any_field_breaks_the_form(text: str, name: str) -> None:
    found = check(named(**{name: text}))
    assert isinstance(found, Profile) or (found.field in (name, "tools") and found.sentence)
