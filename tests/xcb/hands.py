"""Hands at mouse and keyboard: events go through the X server, answers are read off the screen.

Nothing here calls the job, the desk or a part's own methods: a label's words and where
a button lies is all that is read.
"""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from typing import TypeVar

from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QAbstractButton, QLabel, QLineEdit, QListWidget, QWidget
from pytestqt.qtbot import QtBot

W = TypeVar("W", bound=QWidget)


class Hands:
    """One person in front of one window; counts clicks and keys."""

    def __init__(self, qtbot: QtBot, window: QWidget) -> None:
        self.qtbot = qtbot
        self.window = window
        self.clicks = 0
        self.keys = 0

    def take_focus(self) -> None:
        """Give the window the keyboard: there is no window manager that would."""
        self.xdotool("windowfocus", str(int(self.window.winId())))
        self.qtbot.waitUntil(self.window.isActiveWindow, timeout=5000)

    def find(self, kind: type[W], name: str) -> W:
        """Return the one part of this name that is on the screen."""
        found = [part for part in self.window.findChildren(kind, name) if part.isVisible()]
        assert len(found) == 1, f"{len(found)} parts named {name} are on the screen"
        return found[0]

    def sees(self, kind: type[W], name: str) -> bool:
        """Say whether a part of this name is on the screen."""
        return any(part.isVisible() for part in self.window.findChildren(kind, name))

    def words(self, *names: str) -> str:
        """Return what the first label of these says that is on the screen, or nothing.

        By default the one that says what is wanted.
        """
        for name in names or ("sentence", "head"):
            for part in self.window.findChildren(QLabel, name):
                if part.isVisible():
                    return part.text()
        return ""

    def button_words(self, name: str = "proceed") -> str:
        """Return what a button says; empty when it is not on the screen or cannot be pressed."""
        for part in self.window.findChildren(QAbstractButton, name):
            if part.isVisible() and part.isEnabled():
                return part.text()
        return ""

    def field(self, name: str) -> str:
        """Return what stands in a field."""
        return self.find(QLineEdit, name).text()

    def click(self, name: str, kind: type[QWidget] = QWidget) -> None:
        """Click the middle of a part."""
        part = self.find(kind, name)
        middle = part.mapToGlobal(QPoint(part.width() // 2, part.height() // 2))
        self.clicks += 1
        self.xdotool("mousemove", str(middle.x()), str(middle.y()), "click", "1")

    def click_row(self, name: str, title: str) -> None:
        """Click a row of a list by its title."""
        rows = self.find(QListWidget, name)
        (item,) = rows.findItems(title, Qt.MatchFlag.MatchExactly)
        middle = rows.viewport().mapToGlobal(rows.visualItemRect(item).center())
        self.clicks += 1
        self.xdotool("mousemove", str(middle.x()), str(middle.y()), "click", "1")
        self.settle()

    def drag(self, name: str, points: list[tuple[float, float]]) -> None:
        """Press at the first point (in parts of the part's size), move through the others."""
        part = self.find(QWidget, name)
        words: list[str] = []
        for at, (x, y) in enumerate(points):
            where = part.mapToGlobal(QPoint(round(x * part.width()), round(y * part.height())))
            words += ["mousemove", "--sync", str(where.x()), str(where.y())]
            if at == 0:
                words += ["mousedown", "1"]
        self.clicks += 1
        self.xdotool(*words, "mouseup", "1")

    def press(self, *keys: str) -> None:
        """Press keys, by their X names, one after the other."""
        for key in keys:
            self.keys += 1
            self.xdotool("key", "--clearmodifiers", key)
            self.settle()

    def type(self, text: str) -> None:
        """Type a text."""
        self.keys += len(text)
        self.xdotool("type", "--delay", "15", text)
        self.settle()

    def settle(self, ms: int = 60) -> None:
        """Let the window take the events that are under way."""
        self.qtbot.wait(ms)

    def until(self, seen: Callable[[], bool], what: str, timeout_s: float = 30.0) -> None:
        """Watch the screen until something is seen there."""
        try:
            self.qtbot.waitUntil(seen, timeout=round(timeout_s * 1000))
        except Exception as error:
            raise AssertionError(
                f"never seen: {what}; the sentence says {self.words()!r}, the button "
                f"{self.button_words()!r}, the doubt {self.words('doubt')!r}"
            ) from error

    def clipboard(self) -> str:
        """Return what is on the clipboard."""
        return QGuiApplication.clipboard().text()

    def xdotool(self, *words: str) -> None:
        """Send events through the X server."""
        subprocess.run(["xdotool", *words], check=True, capture_output=True, timeout=20)
