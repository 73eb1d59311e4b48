"""The result sheet as a person sees it: values, the gate before copying, copying, saving."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QAbstractButton,
    QLabel,
    QLineEdit,
    QPlainTextEdit,
    QPushButton,
    QScrollArea,
    QWidget,
)
from pytestqt.qtbot import QtBot

from app.job.checks import Finding
from app.job.sheet import EnterOffsets
from app.ui.intentions import Acknowledge, CopyText, FileKind, SaveAs
from app.ui.look.colours import DARK, LIGHT
from app.ui.look.parts import WrapLabel
from app.ui.result.sheet import ResultSheet
from app.ui.result.table import HeightTable, ToolTable
from app.ui.result.texts import shown_texts
from app.ui.state import DeskState
from tests.ui.states import SIXTEEN, STATES, _until, state_of

SIZES = ((690, 520), (900, 620))
NAMES = ("result", "warning", "two carriages", "entering", "sixteen")
NOTE = Finding(code="camera-reopened", message="The camera was lost and came back.")


@pytest.fixture(scope="module")
def states() -> dict[str, DeskState]:
    made = {name: STATES[name]() for name in NAMES[:-1]}
    long = replace(SIXTEEN, name="M" * 40, dialect="smoothieware")
    return made | {"sixteen": state_of(_until(EnterOffsets, long))}


class Shown:
    """A sheet with what it asked for."""

    def __init__(self, qtbot: QtBot, folder: Path, size: tuple[int, int] = SIZES[0]) -> None:
        self.sheet = ResultSheet(LIGHT, folder=folder)
        qtbot.addWidget(self.sheet)
        self.sheet.resize(*size)
        self.wanted: list[object] = []
        self.sheet.wanted.connect(self.wanted.append)
        self._qtbot = qtbot

    def show(self, state: DeskState) -> None:
        self.sheet.show_state(state)
        with self._qtbot.waitExposed(self.sheet):
            self.sheet.show()

    def button(self, name: str) -> QPushButton:
        found = self.sheet.findChild(QPushButton, name)
        assert isinstance(found, QPushButton)
        return found

    def press(self, name: str) -> None:
        QTest.mouseClick(self.button(name), Qt.MouseButton.LeftButton)

    def said(self) -> str:
        label = self.sheet.findChild(WrapLabel, "says")
        assert isinstance(label, WrapLabel)
        return label.text() if label.isVisible() else ""

    def path(self) -> QLineEdit:
        field = self.sheet.findChild(QLineEdit, "save_path")
        assert isinstance(field, QLineEdit)
        return field


@pytest.fixture
def shown(qtbot: QtBot, tmp_path: Path) -> Shown:
    return Shown(qtbot, tmp_path)


GATED = ("copy_all", "copy_settings", "save_text", "save_csv", "save_json")


class TestGate:
    def test_nothing_can_be_copied_before_the_offsets_are_taken(
        self, shown: Shown, states: dict[str, DeskState]
    ) -> None:
        shown.show(states["result"])
        assert not any(shown.button(name).isEnabled() for name in GATED)
        assert shown.said() == "Before copying or saving, take the offsets (Space)."
        shown.sheet.copy()
        shown.sheet.ask_where()
        assert shown.wanted == []
        assert not shown.path().isVisible()

    def test_warnings_have_to_be_acknowledged_first(
        self, shown: Shown, states: dict[str, DeskState]
    ) -> None:
        entering = states["entering"]
        noted = replace(entering, snapshot=replace(entering.snapshot, findings=(NOTE,)))
        shown.show(noted)
        assert not any(shown.button(name).isEnabled() for name in GATED)
        assert "read the warnings (R)" in shown.said()
        shown.press("acknowledge")
        assert shown.wanted == [Acknowledge()]
        shown.sheet.show_state(replace(noted, acknowledged=True))
        assert all(shown.button(name).isEnabled() for name in GATED)
        assert shown.said() == ""
        assert not shown.button("acknowledge").isVisible()

    def test_there_is_nothing_to_acknowledge_where_nothing_is_said(
        self, shown: Shown, states: dict[str, DeskState]
    ) -> None:
        shown.show(states["entering"])
        assert not shown.button("acknowledge").isVisible()
        assert all(shown.button(name).isEnabled() for name in GATED)


class TestCopying:
    @pytest.mark.parametrize("part", ["all", "settings", "moves"])
    def test_each_part_is_asked_for_and_said(
        self, shown: Shown, states: dict[str, DeskState], part: str
    ) -> None:
        carriages = states["two carriages"]
        taken = replace(carriages, step=EnterOffsets(tools=(1,)))
        shown.show(taken)
        shown.press(f"copy_{part}")
        assert shown.wanted == [CopyText(part)]
        assert shown.said().startswith("Copied: ")
        shown.sheet.show_state(replace(taken, sentence="A picture came."))
        assert shown.said().startswith("Copied: ")

    def test_the_boxes_show_what_is_copied(
        self, shown: Shown, states: dict[str, DeskState]
    ) -> None:
        shown.show(states["two carriages"])
        texts = shown_texts(states["two carriages"])
        assert texts is not None
        for name, text in (("settings_text", texts.settings), ("moves_text", texts.moves)):
            box = shown.sheet.findChild(QPlainTextEdit, name)
            assert isinstance(box, QPlainTextEdit)
            assert box.isReadOnly()
            assert box.toPlainText() == text.rstrip("\n")

    def test_a_firmware_that_moves_nothing_shows_no_moves(
        self, shown: Shown, states: dict[str, DeskState]
    ) -> None:
        shown.show(states["entering"])
        assert not shown.button("copy_moves").isVisible()


class TestSaving:
    @pytest.mark.parametrize(
        ("button", "kind", "ending"),
        [
            ("save_text", FileKind.TEXT, ".txt"),
            ("save_csv", FileKind.CSV, ".csv"),
            ("save_json", FileKind.JSON, ".json"),
        ],
    )
    def test_a_path_is_offered_and_saved_to(
        self,
        shown: Shown,
        states: dict[str, DeskState],
        tmp_path: Path,
        button: str,
        kind: FileKind,
        ending: str,
    ) -> None:
        shown.show(states["entering"])
        shown.press(button)
        path = str(tmp_path / f"plover-20261125-offsets{ending}")
        assert shown.path().isVisible()
        assert shown.path().text() == path
        shown.press("save_now")
        assert shown.wanted == [SaveAs(kind, path)]
        assert not shown.path().isVisible()

    def test_a_bare_name_goes_into_the_offered_folder(
        self, shown: Shown, states: dict[str, DeskState], tmp_path: Path
    ) -> None:
        shown.show(states["entering"])
        shown.sheet.ask_where(FileKind.CSV)
        shown.path().setText("mine.csv")
        QTest.keyClick(shown.path(), Qt.Key.Key_Return)
        assert shown.wanted == [SaveAs(FileKind.CSV, str(tmp_path / "mine.csv"))]

    def test_escape_and_cancel_save_nothing(
        self, shown: Shown, states: dict[str, DeskState]
    ) -> None:
        shown.show(states["entering"])
        shown.sheet.ask_where()
        QTest.keyClick(shown.path(), Qt.Key.Key_Escape)
        assert not shown.path().isVisible()
        shown.sheet.ask_where()
        shown.press("save_cancel")
        assert not shown.path().isVisible()
        assert shown.wanted == []


class TestLook:
    @pytest.mark.parametrize("size", SIZES)
    @pytest.mark.parametrize("name", NAMES)
    def test_nothing_is_cut(
        self,
        qtbot: QtBot,
        states: dict[str, DeskState],
        tmp_path: Path,
        name: str,
        size: tuple[int, int],
    ) -> None:
        shown = Shown(qtbot, tmp_path, size)
        shown.show(states[name])
        area = shown.sheet.findChild(QScrollArea, "result_area")
        assert isinstance(area, QScrollArea)
        page = area.widget()
        assert page is not None
        assert page.width() <= area.viewport().width()
        need = max(page.heightForWidth(page.width()), area.viewport().height())
        assert page.height() == need
        for label in page.findChildren(QLabel):
            if not label.isVisible():
                continue
            inside = label.mapTo(page, label.rect().bottomRight())
            assert page.rect().contains(inside), label.text()
            if isinstance(label, WrapLabel):
                assert label.height() >= label.heightForWidth(label.width()), label.text()
            elif label.text() != "M" * 40:
                assert label.width() >= label.sizeHint().width(), label.text()
        for box in page.findChildren(QPlainTextEdit):
            if box.isVisible():
                assert box.verticalScrollBar().maximum() == 0

    def test_every_control_has_a_name_and_a_tip(
        self, shown: Shown, states: dict[str, DeskState]
    ) -> None:
        shown.show(states["warning"])
        controls: list[QWidget] = [
            *shown.sheet.findChildren(QAbstractButton),
            shown.path(),
        ]
        for control in controls:
            assert control.objectName()
            assert control.accessibleName()
            assert control.toolTip()
        for box in shown.sheet.findChildren(QPlainTextEdit):
            assert box.objectName()
            assert box.accessibleName()

    def test_a_cell_is_named_by_its_tool_and_column(
        self, shown: Shown, states: dict[str, DeskState]
    ) -> None:
        shown.show(states["entering"])
        table = shown.sheet.findChild(ToolTable)
        assert isinstance(table, ToolTable)
        names = {label.accessibleName() for label in table.findChildren(QLabel)}
        new = states["entering"].stored
        assert new is not None
        assert f"tool 1, new stored X: {new.new[1].x:.3f}" in names
        heights = shown.sheet.findChild(HeightTable)
        assert isinstance(heights, HeightTable)
        assert not heights.isVisible()

    def test_another_state_replaces_the_rows_and_another_look_keeps_them(
        self, shown: Shown, states: dict[str, DeskState]
    ) -> None:
        shown.show(states["warning"])
        table = shown.sheet.findChild(ToolTable)
        assert isinstance(table, ToolTable)
        before = table.texts()
        shown.sheet.use_colours(DARK)
        assert table.texts() == before
        shown.sheet.show_state(states["two carriages"])
        assert "353.111" in table.texts()
        assert "353.111" not in before
        assert len(table.texts()) < len(before)
