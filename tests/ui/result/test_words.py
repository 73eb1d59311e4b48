"""What the result sheet says, without Qt: rows equal the run's numbers, cautions travel along."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta, timezone

import pytest

from app.dialects.values import NozzleVectorMm
from app.export import paste_text
from app.export.text import CAUTION, SIMULATED
from app.job.checks import Finding
from app.job.offsets import Solution
from app.job.profile import Tool
from app.job.sheet import EnterOffsets
from app.job.stored import stored_of
from app.ui.look.states import State
from app.ui.result import words
from app.ui.result.texts import result_texts, shown_texts, why_not
from app.ui.state import DeskState
from tests.ui.states import HERON, PLOVER, STATES, _until, state_of
from vision.bore import BoreSize

NOTE = Finding(code="height-by-focus", message="The heights rest on\nfocusing alone.")


@pytest.fixture(scope="module")
def states() -> dict[str, DeskState]:
    return {n: STATES[n]() for n in ("result", "warning", "two carriages", "entering", "tool")}


def solution_of(state: DeskState) -> Solution:
    assert state.snapshot.solution is not None
    return state.snapshot.solution


def rows_of(state: DeskState) -> tuple[words.ToolRow, ...]:
    assert state.stored is not None
    return words.tool_rows(state.snapshot.run.profile, solution_of(state), state.stored)


class TestRows:
    @pytest.mark.parametrize("name", ["result", "warning", "entering"])
    def test_they_hold_the_numbers_of_the_run(
        self, states: dict[str, DeskState], name: str
    ) -> None:
        state = states[name]
        assert state.stored is not None
        rows = rows_of(state)
        assert [row.tool for row in rows] == [0, 1, 2, 3, 4]
        for row in rows[1:]:
            old, new = state.stored.old[row.tool], state.stored.new[row.tool]
            offset = solution_of(state).tool(row.tool)
            assert row.old is not None
            assert row.new is not None
            assert [float(text) for text in row.old] == pytest.approx([old.x, old.y], abs=5e-4)
            assert [float(text) for text in row.new] == pytest.approx([new.x, new.y], abs=5e-4)
            um = [1e3 * value for value in offset.expanded_mm[:2]]
            assert [float(text) for text in row.u] == pytest.approx(um, abs=0.5)
            assert row.mostly == offset.largest_contributor

    def test_old_and_change_add_up_to_new(self, states: dict[str, DeskState]) -> None:
        for row in rows_of(states["two carriages"])[1:]:
            assert row.old is not None
            assert row.new is not None
            assert row.change is not None
            for old, new, change in zip(row.old, row.new, row.change, strict=True):
                assert f"{float(old) + float(change):.3f}" == new

    def test_new_values_are_those_of_the_text(self, states: dict[str, DeskState]) -> None:
        state = states["result"]
        assert state.stored is not None
        for row in rows_of(state)[1:]:
            assert row.new is not None
            line = f"G10 P{row.tool} X{row.new[0]} Y{row.new[1]}"
            assert line in state.stored.text.settings

    def test_the_reference_is_marked_and_has_no_uncertainty(
        self, states: dict[str, DeskState]
    ) -> None:
        first = rows_of(states["result"])[0]
        assert (first.state, first.u, first.mostly) == (State.REFERENCE, ("", ""), "reference")

    def test_a_tool_above_the_tolerance_is_marked(self, states: dict[str, DeskState]) -> None:
        assert {row.state for row in rows_of(states["warning"])[1:]} == {State.WARNING}
        assert {row.state for row in rows_of(states["result"])[1:]} == {None}

    def test_a_tool_that_the_firmware_stores_nothing_for_says_so(
        self, states: dict[str, DeskState]
    ) -> None:
        first = rows_of(states["two carriages"])[0]
        assert first.remark == "Marlin with two carriages stores nothing for T0"
        assert first.old is None
        assert first.new is None

    def test_a_home_coordinate_that_cannot_be_is_left_out(self) -> None:
        profile = replace(HERON, tools=(Tool(number=0), Tool(number=1)))
        state = state_of(_until(EnterOffsets, profile))
        new = rows_of(state)[1].new
        assert new is not None
        assert new[0] == words.LEFT_OUT
        assert state.stored is not None
        assert "T1 X" not in state.stored.text.settings

    def test_heights_are_there_only_if_a_stored_height_changes(
        self, states: dict[str, DeskState]
    ) -> None:
        state = states["result"]
        assert state.stored is not None
        solution = solution_of(state)
        assert words.height_rows(PLOVER, solution, state.stored) == ()
        tools = list(solution.tools)
        lower = NozzleVectorMm(tools[1].vector_mm.x, tools[1].vector_mm.y, -0.12)
        u_x, u_y, _ = tools[1].expanded_mm
        tools[1] = replace(tools[1], vector_mm=lower, expanded_mm=(u_x, u_y, 0.08))
        solution = replace(solution, tools=tuple(tools))
        by_focus = replace(PLOVER, z_by_focus=True)
        rows = words.height_rows(by_focus, solution, stored_of(by_focus, solution))
        assert rows[1] == words.HeightRow(
            tool=1, old="0.000", new="-0.120", change="-0.120", u="80"
        )
        assert rows[2].new == "0.000"


class TestSentences:
    def test_a_good_closure_says_that_nothing_moved(self, states: dict[str, DeskState]) -> None:
        said = words.closure_said(states["result"].snapshot)
        x, y = solution_of(states["result"]).closure_um or (0.0, 0.0)
        assert said == words.Said(
            state=State.GOOD,
            sentence=f"The reference came back to within X {x:+.0f}, Y {y:+.0f} um; "
            "11 um is to be expected: nothing moved.",
        )

    def test_a_failed_closure_says_that_something_moved(self, states: dict[str, DeskState]) -> None:
        said = words.closure_said(states["warning"].snapshot)
        assert said.state is State.BAD
        assert said.sentence.endswith("something moved.")

    def test_a_large_closure_that_fails_no_check_is_called_much(
        self, states: dict[str, DeskState]
    ) -> None:
        snapshot = states["result"].snapshot
        solution = replace(solution_of(states["result"]), closure_um=(28.0, -0.2))
        said = words.closure_said(replace(snapshot, solution=solution))
        assert said.state is State.WARNING
        assert "X +28, Y +0 um" in said.sentence
        assert "less than the 34 um" in said.sentence

    def test_no_closure_is_a_warning(self, states: dict[str, DeskState]) -> None:
        solution = replace(solution_of(states["result"]), closure_um=None, closure_sigma_um=None)
        said = words.closure_said(replace(states["result"].snapshot, solution=solution))
        assert said.state is State.WARNING
        assert "once only" in said.sentence

    def test_failed_checks_come_first(self, states: dict[str, DeskState]) -> None:
        findings = (NOTE, *states["warning"].snapshot.findings)
        said = words.findings_said(findings)
        assert [one.state for one in said] == [State.BAD] * 6 + [State.WARNING]
        assert said[-1].sentence == f"Good to know: {NOTE.message}"

    def test_tools_with_the_same_remedy_share_a_sentence(
        self, states: dict[str, DeskState]
    ) -> None:
        solution = solution_of(states["result"])
        remedy = solution.tool(1).contributors[0].remedy
        assert words.remedies(solution) == (
            f"U of T1, T2, T3 and T4 is mostly position; it shrinks by: {remedy}.",
        )

    def test_the_time_is_the_persons_own(self, states: dict[str, DeskState]) -> None:
        east = timezone(timedelta(hours=2))
        assert words.made_words(states["result"], east) == "5 tools, 2026-11-25 12:00"

    def test_entering_is_told_by_the_dialects_notes(self, states: dict[str, DeskState]) -> None:
        state = states["result"]
        assert state.stored is not None
        told = words.entering_words(PLOVER, state.stored)
        assert told.startswith(f"RepRapFirmware: {state.stored.text.notes[0]}")


class TestTexts:
    def test_all_is_what_the_command_line_exports(self, states: dict[str, DeskState]) -> None:
        state = states["entering"]
        texts = result_texts(state)
        assert texts is not None
        assert state.stored is not None
        assert texts.all == paste_text(state.stored.text, state.snapshot.findings, simulated=True)

    def test_both_parts_carry_their_cautions(self, states: dict[str, DeskState]) -> None:
        texts = shown_texts(states["two carriages"])
        assert texts is not None
        assert SIMULATED in texts.settings
        assert SIMULATED in texts.moves
        assert CAUTION in texts.moves
        assert CAUTION not in texts.settings
        assert re.search(r"^G28 X$", texts.moves, re.M)
        assert "G28" not in texts.settings.splitlines()[-1]

    def test_failed_checks_stand_over_the_moves_as_one_line_each(
        self, states: dict[str, DeskState]
    ) -> None:
        state = states["two carriages"]
        failed = replace(NOTE, fails=True)
        texts = shown_texts(replace(state, snapshot=replace(state.snapshot, findings=(failed,))))
        assert texts is not None
        assert "; CHECK FAILED: The heights rest on focusing alone.\n" in texts.moves

    def test_nothing_moves_where_the_firmware_wants_no_move(
        self, states: dict[str, DeskState]
    ) -> None:
        texts = shown_texts(states["result"])
        assert texts is not None
        assert texts.moves == ""

    def test_nothing_is_copied_before_the_offsets_are_taken(
        self, states: dict[str, DeskState]
    ) -> None:
        assert result_texts(states["result"]) is None
        assert why_not(states["result"]) == ("Before copying or saving, take the offsets (Space).")

    def test_nothing_is_copied_before_the_warnings_are_read(
        self, states: dict[str, DeskState]
    ) -> None:
        entering = states["entering"]
        noted = replace(entering, snapshot=replace(entering.snapshot, findings=(NOTE,)))
        assert result_texts(noted) is None
        assert why_not(noted) == "Before copying or saving, read the warnings (R)."
        assert result_texts(replace(noted, acknowledged=True)) is not None

    def test_there_is_no_text_before_all_is_sighted(self, states: dict[str, DeskState]) -> None:
        assert shown_texts(states["tool"]) is None
        assert "not all tools are sighted" in why_not(states["tool"])


class TestBores:
    def test_they_are_told_in_the_order_of_the_tools_with_their_largest_u(
        self, states: dict[str, DeskState]
    ) -> None:
        snapshot = replace(
            states["result"].snapshot,
            bores={
                1: BoreSize(diameter_um=471.2, u_um=13.0, out_of_roundness_um=5.0),
                0: BoreSize(diameter_um=402.0, u_um=12.0, out_of_roundness_um=5.0),
            },
        )
        assert words.bores_words(snapshot) == (
            "Bores as measured: T0 0.402, T1 0.471 mm, U at most 0.026 mm (k = 2)."
        )

    def test_nothing_is_said_where_none_was_measured(self, states: dict[str, DeskState]) -> None:
        assert words.bores_words(replace(states["result"].snapshot, bores={})) == ""
