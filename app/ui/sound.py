"""Says the correction aloud, or beeps the faster the closer the bore is to the target.

Speech is an extra: without Qt's own speech package, or without a voice on this
computer, the switch says how to get it and all else works.
"""

from __future__ import annotations

import logging
import math
from typing import Any

from PySide6.QtCore import QObject, QTimer
from PySide6.QtWidgets import QApplication

_LOG = logging.getLogger(__name__)

HOW_TO_GET_SPEECH = (
    "To hear the correction, install the extra for speech: pip install 'tipwright[speech]', "
    "and start Tipwright again."
)
NO_VOICE = "This computer has no voice that can speak; the correction stays on the screen."

SPEECH_MS = 2500
"""Shortest time between two announcements, so that a number can be said to its end."""

FAR_MM = 1.0
SLOWEST_MS, FASTEST_MS = 1200, 120


def beep_interval_ms(distance_mm: float) -> int:
    """Return the pause between two beeps: short when close, long when far."""
    part = min(max(distance_mm, 0.0), FAR_MM) / FAR_MM
    return round(FASTEST_MS + (SLOWEST_MS - FASTEST_MS) * math.sqrt(part))


class Sound(QObject):
    """The voice and the beeper of the window."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._voice: Any = None  # the speech package brings no types, and may not be there
        self._last = ""
        self._quiet = QTimer(self)
        self._quiet.setSingleShot(True)
        self._beeper = QTimer(self)
        self._beeper.timeout.connect(QApplication.beep)

    def switch_speech(self, *, on: bool) -> str:
        """Switch speech; return why that cannot be, or an empty text."""
        self._last = ""
        if not on:
            self._voice = None
            return ""
        try:
            from PySide6.QtTextToSpeech import QTextToSpeech  # type: ignore[import-not-found,unused-ignore]  # an extra
        except ImportError:
            return HOW_TO_GET_SPEECH
        voice = QTextToSpeech(self)
        if not voice.availableVoices():
            return NO_VOICE
        self._voice = voice
        return ""

    def say(self, words: str) -> None:
        """Say something, unless it was said just now or somebody is still speaking."""
        if self._voice is None or not words or words == self._last or self._quiet.isActive():
            return
        self._last = words
        self._voice.say(words)
        self._quiet.start(SPEECH_MS)

    def beep(self, distance_mm: float | None) -> None:
        """Beep at the pace of a distance; None is silence."""
        if distance_mm is None:
            self._beeper.stop()
            return
        self._beeper.setInterval(beep_interval_ms(distance_mm))
        if not self._beeper.isActive():
            self._beeper.start()

    def stop(self) -> None:
        """Be silent."""
        self._beeper.stop()
        self._quiet.stop()
        self._voice = None
