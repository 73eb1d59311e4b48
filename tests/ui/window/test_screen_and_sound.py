"""No screen and no voice are a sentence; the rest works."""

from __future__ import annotations

import sys

import pytest
from pytestqt.qtbot import QtBot

from app.errors import DeviceError
from app.ui.header import machine_words, uncertainty_words
from app.ui.screen import check_screen
from app.ui.sound import FASTEST_MS, SLOWEST_MS, Sound, beep_interval_ms
from tests.ui.states import STATES


def test_no_display_is_a_sentence_that_says_what_works_without() -> None:
    with pytest.raises(DeviceError, match=r"DISPLAY is not set.*tipwright demo"):
        check_screen({}, platform="linux")


def test_a_display_that_does_not_answer_is_named() -> None:
    with pytest.raises(DeviceError, match=":77 does not answer"):
        check_screen({"DISPLAY": ":77"}, platform="linux", opens=lambda: False)


@pytest.mark.parametrize(
    ("environ", "platform"),
    [
        ({"QT_QPA_PLATFORM": "offscreen"}, "linux"),
        ({"QT_QPA_PLATFORM": "offscreen:size=9x9;xcb"}, "linux"),
        ({"WAYLAND_DISPLAY": "wayland-0"}, "linux"),
        ({}, "win32"),
        ({}, "darwin"),
    ],
)
def test_other_screens_are_not_asked(environ: dict[str, str], platform: str) -> None:
    check_screen(environ, platform=platform, opens=lambda: False)


def test_wayland_does_not_help_who_asks_for_xcb() -> None:
    environ = {"QT_QPA_PLATFORM": "xcb", "WAYLAND_DISPLAY": "wayland-0"}
    with pytest.raises(DeviceError):
        check_screen(environ, platform="linux", opens=lambda: True)


def test_beeps_come_the_faster_the_closer_the_bore_is() -> None:
    pauses = [beep_interval_ms(mm) for mm in (0.0, 0.01, 0.1, 0.5, 1.0)]
    assert pauses == sorted(set(pauses))
    assert (pauses[0], pauses[-1]) == (FASTEST_MS, SLOWEST_MS)
    assert beep_interval_ms(40.0) == SLOWEST_MS


def test_speech_without_its_package_says_how_to_get_it(
    qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "PySide6.QtTextToSpeech", None)
    sound = Sound()
    assert "tipwright[speech]" in sound.switch_speech(on=True)
    assert sound.switch_speech(on=False) == ""
    sound.say("plus half a millimetre")
    sound.stop()


def test_the_header_says_machine_camera_and_how_sure() -> None:
    state = STATES["result"]()
    words = machine_words(state.snapshot, "Microscope")
    assert words == "tool changer, 5 tools · camera: Microscope"
    assert uncertainty_words(state.snapshot).startswith("U ")
    assert uncertainty_words(STATES["preparation"]().snapshot) == ""
