"""What the window remembers between two starts: its look, its place, the last choice.

A file of preferences that cannot be read counts as empty, and one that cannot be
written changes nothing: neither is worth a word to a person who wants to work.
"""

from __future__ import annotations

import base64
import binascii
import logging
from enum import StrEnum
from pathlib import Path
from typing import TypeVar

from PySide6.QtCore import QSettings

from app.job.facts import PositionMode
from app.ui.look.colours import Appearance

log = logging.getLogger(__name__)

FILE = "window.ini"

_E = TypeVar("_E", bound=StrEnum)


class Preferences:
    """The window's preferences in one folder. Only the window's own thread calls.

    Each one is written when it is set; what was read last stays in force when that
    fails.

    Parameters
    ----------
    folder
        Of the user's data; it is made with the first preference that is set.
    """

    def __init__(self, folder: Path) -> None:
        self.path = folder / FILE
        self._settings = QSettings(str(self.path), QSettings.Format.IniFormat)
        if self._settings.status() is not QSettings.Status.NoError:
            log.info("%s cannot be read; the window begins as new", self.path)

    @property
    def appearance(self) -> Appearance:
        """Light, dark, or as the system has it."""
        return self._word("appearance", Appearance.SYSTEM)

    @appearance.setter
    def appearance(self, value: Appearance) -> None:
        self._set("appearance", value.value)

    @property
    def geometry(self) -> bytes:
        """Size and place of the window, as Qt saved them; empty when not known."""
        try:
            return base64.b64decode(self._text("geometry"), validate=True)
        except (binascii.Error, ValueError):
            return b""

    @geometry.setter
    def geometry(self, value: bytes) -> None:
        self._set("geometry", base64.b64encode(value).decode("ascii"))

    @property
    def machine(self) -> str:
        """Which machine was chosen last, as the start page calls it; empty at first."""
        return self._text("machine")

    @machine.setter
    def machine(self, value: str) -> None:
        self._set("machine", value)

    @property
    def camera(self) -> str:
        """The source that was chosen last, such as ``usb:0``; empty at first."""
        return self._text("camera")

    @camera.setter
    def camera(self, value: str) -> None:
        self._set("camera", value)

    @property
    def camera_name(self) -> str:
        """What that source was called: numbers of cameras change with each plugging."""
        return self._text("camera_name")

    @camera_name.setter
    def camera_name(self, value: str) -> None:
        self._set("camera_name", value)

    @property
    def mode(self) -> PositionMode:
        """How positions were told last."""
        return self._word("mode", PositionMode.SHOWN)

    @mode.setter
    def mode(self, value: PositionMode) -> None:
        self._set("mode", value.value)

    @property
    def left_run(self) -> str:
        """The unfinished run that the person chose to leave, so as not to ask again."""
        return self._text("left_run")

    @left_run.setter
    def left_run(self, value: str) -> None:
        self._set("left_run", value)

    @property
    def speech(self) -> bool:
        """Whether corrections are said aloud."""
        return self._text("speech") == "true"

    @speech.setter
    def speech(self, value: bool) -> None:
        self._set("speech", "true" if value else "false")

    @property
    def tone(self) -> bool:
        """Whether a tone tells how close the bore is."""
        return self._text("tone") == "true"

    @tone.setter
    def tone(self, value: bool) -> None:
        self._set("tone", "true" if value else "false")

    def _word(self, key: str, default: _E) -> _E:
        try:
            return type(default)(self._text(key))
        except ValueError:
            return default

    def _text(self, key: str) -> str:
        value = self._settings.value(key, "")
        return value if isinstance(value, str) else ""

    def _set(self, key: str, value: str) -> None:
        self._settings.setValue(key, value)
        self._settings.sync()
        if self._settings.status() is QSettings.Status.AccessError:
            log.info("%s cannot be written; preferences hold until the end", self.path)
