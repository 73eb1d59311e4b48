"""The picture is painted, zoomed and drawn along as a person expects."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import QEvent, QPoint, QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QImage, QPainter, QWheelEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from app.job.interfaces import Frame
from app.ui.look.colours import DARK, LIGHT
from app.ui.picture import LiveView
from app.ui.picture.ink import paint_overlay, stroke
from app.ui.picture.overlay import Arrow, overlay_of
from app.ui.picture.transform import PointWidget, ViewTransform
from app.wiring.glance import Shown
from tests.ui.states import LIVE, STATES, shown
from vision.geometry import PointPx


def flat(value: int, size: tuple[int, int] = (640, 480)) -> Shown:
    """Return a frame of one grey."""
    bgra = np.full((size[1], size[0], 4), value, dtype=np.uint8)
    bgra[:, :, 3] = 255
    frame = Frame(image=bgra[:, :, 0], frame_id=1, arrived_at_s=1.0, camera_generation=1)
    return Shown(frame=frame, bgra=bgra)


def made(qtbot: QtBot, size: tuple[int, int] = (640, 480)) -> LiveView:
    view = LiveView(DARK)
    qtbot.addWidget(view)
    view.resize(*size)
    view.show()
    return view


def looking(live: LiveView) -> ViewTransform:
    assert live.view is not None
    return live.view


def turn_wheel(view: LiveView, at: QPointF, clicks: int) -> None:
    event = QWheelEvent(
        at,
        view.mapToGlobal(at),
        QPoint(),
        QPoint(0, 120 * clicks),
        Qt.MouseButton.NoButton,
        Qt.KeyboardModifier.NoModifier,
        Qt.ScrollPhase.NoScrollPhase,
        False,
    )
    QApplication.sendEvent(view, event)


def colour_at(view: LiveView, x: float, y: float) -> QColor:
    return view.grab().toImage().pixelColor(round(x), round(y))


def rgb(colour: QColor) -> tuple[int, int, int]:
    return colour.red(), colour.green(), colour.blue()


def close_to(colour: QColor, wanted: str, within: int = 40) -> bool:
    other = QColor(wanted)
    return all(abs(a - b) <= within for a, b in zip(rgb(colour), rgb(other), strict=True))


def test_a_frame_is_shown_as_it_lies_in_memory_even_when_read_only(qtbot: QtBot) -> None:
    view = made(qtbot)
    frame = flat(0)
    frame.bgra[100:200, 100:200, 2] = 255
    frame.bgra.flags.writeable = False
    view.show_picture(frame)
    assert rgb(colour_at(view, 150, 150)) == (255, 0, 0)
    assert rgb(colour_at(view, 250, 150)) == (0, 0, 0)


def test_the_array_lives_as_long_as_its_picture(qtbot: QtBot) -> None:
    view = made(qtbot)
    view.show_picture(flat(90))
    assert rgb(colour_at(view, 320, 240)) == (90, 90, 90)


def test_the_surround_is_dark_in_both_looks(qtbot: QtBot) -> None:
    view = made(qtbot, (900, 480))
    view.show_picture(flat(255))
    for colours in (DARK, LIGHT):
        view.use_colours(colours)
        assert close_to(colour_at(view, 20, 240), colours.surround, 1)


@pytest.mark.parametrize("grey", [0, 128, 255])
def test_a_line_has_a_dark_outline_on_any_ground(grey: int) -> None:
    image = QImage(60, 40, QImage.Format.Format_RGB32)
    image.fill(QColor(grey, grey, grey))
    painter = QPainter(image)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    stroke(painter, ((PointWidget(10.0, 20.0), PointWidget(50.0, 20.0)),), DARK.arrow, DARK)
    painter.end()
    assert close_to(image.pixelColor(30, 20), DARK.arrow, 2)
    assert close_to(image.pixelColor(30, 19), DARK.arrow, 2)
    assert close_to(image.pixelColor(30, 18), DARK.surround, 2)
    assert close_to(image.pixelColor(30, 21), DARK.surround, 2)
    assert rgb(image.pixelColor(30, 15)) == (grey, grey, grey)


@pytest.mark.parametrize("ratio", [1.0, 1.5, 2.0])
def test_the_arrow_is_painted_up_to_the_target_at_any_density(ratio: float) -> None:
    state = STATES["tool"]()
    view = ViewTransform.fitted((640, 480), (960.0, 720.0), pixel_ratio=ratio)
    overlay = overlay_of(state, view)
    assert isinstance(overlay.arrow, Arrow)
    image = QImage(round(960 * ratio), round(720 * ratio), QImage.Format.Format_RGB32)
    image.setDevicePixelRatio(ratio)
    image.fill(QColor("#808080"))
    painter = QPainter(image)
    paint_overlay(painter, overlay, DARK)
    painter.end()
    head, tail = overlay.arrow.head, overlay.arrow.tail
    inside = QColor(
        image.pixelColor(
            round((head.x + (tail.x - head.x) * 0.1) * ratio),
            round((head.y + (tail.y - head.y) * 0.1) * ratio),
        )
    )
    beyond = image.pixelColor(
        round((head.x - (tail.x - head.x) * 0.18) * ratio),
        round((head.y - (tail.y - head.y) * 0.18) * ratio),
    )
    assert close_to(inside, DARK.arrow)
    assert close_to(beyond, "#808080", 2)


def test_an_arrow_of_the_widget_ends_at_the_target_of_the_picture(qtbot: QtBot) -> None:
    view, state = made(qtbot, (800, 600)), STATES["tool"]()
    view.show_picture(shown())
    view.show_state(state)
    view.zoom_in()
    assert isinstance(view.overlay.arrow, Arrow)
    target = state.snapshot.target_px
    assert target is not None
    assert looking(view).to_picture(view.overlay.arrow.head) == pytest.approx(target)


def test_the_wheel_zooms_about_the_pointer(qtbot: QtBot) -> None:
    view = made(qtbot)
    view.show_picture(flat(90))
    at = PointWidget(150.0, 320.0)
    before = looking(view).to_picture(at)
    turn_wheel(view, QPointF(*at), 3)
    assert looking(view).zoom == pytest.approx(1.25**3)
    assert looking(view).to_picture(at) == pytest.approx(before)
    turn_wheel(view, QPointF(*at), -9)
    assert looking(view).is_whole


@pytest.mark.parametrize("button", [Qt.MouseButton.LeftButton, Qt.MouseButton.MiddleButton])
def test_a_drag_draws_the_picture_along(qtbot: QtBot, button: Qt.MouseButton) -> None:
    view = made(qtbot)
    view.show_picture(flat(90))
    for _ in range(6):
        view.zoom_in()
    held = looking(view).to_picture(PointWidget(300.0, 200.0))
    QTest.mousePress(view, button, pos=QPoint(300, 200))
    QTest.mouseMove(view, QPoint(340, 170))
    QTest.mouseRelease(view, button, pos=QPoint(340, 170))
    assert looking(view).to_picture(PointWidget(340.0, 170.0)) == pytest.approx(held)
    QTest.mouseMove(view, QPoint(100, 100))
    assert looking(view).to_picture(PointWidget(340.0, 170.0)) == pytest.approx(held)


def test_a_double_click_shows_the_whole_picture(qtbot: QtBot) -> None:
    view = made(qtbot)
    view.show_picture(flat(90))
    view.zoom_in()
    QTest.mouseDClick(view, Qt.MouseButton.LeftButton, pos=QPoint(300, 200))
    assert looking(view).is_whole


def test_another_size_keeps_what_is_looked_at(qtbot: QtBot) -> None:
    view = made(qtbot)
    view.show_picture(flat(90))
    turn_wheel(view, QPointF(150.0, 320.0), 6)
    before = looking(view)
    view.resize(800, 560)
    assert looking(view).middle_px == pytest.approx(before.middle_px)
    assert looking(view).scale == pytest.approx(before.scale)


def test_the_pointer_reads_pixels_and_millimetres(qtbot: QtBot) -> None:
    view, state = made(qtbot, (800, 480)), STATES["tool"]()
    view.show_picture(shown())
    QTest.mouseMove(view, QPoint(400, 240))
    assert view.readout_words == "u 319.5 v 239.5"
    view.show_state(state)
    assert view.readout_words.startswith("u 319.5 v 239.5   X ")
    assert view.readout_words.endswith(" mm")
    QTest.mouseMove(view, QPoint(5, 240))
    assert view.readout_words == ""
    QTest.mouseMove(view, QPoint(400, 240))
    QApplication.sendEvent(view, QEvent(QEvent.Type.Leave))
    assert view.readout_words == ""


def test_a_lost_camera_greys_the_last_picture_and_says_so(qtbot: QtBot) -> None:
    view = made(qtbot)
    frame = flat(0)
    frame.bgra[:, :, 2] = 255
    view.show_picture(frame)
    view.show_state(STATES["lost camera"]())
    colour = colour_at(view, 600, 60)
    assert colour.saturation() < 80
    assert colour.lightness() < 90
    assert "no new picture" in view.accessibleDescription()


def test_before_the_first_picture_there_is_a_sentence(qtbot: QtBot) -> None:
    view = made(qtbot)
    view.show_state(STATES["tool"]())
    image = view.grab(QRectF(100, 180, 440, 120).toRect()).toImage()
    seen = {image.pixelColor(x, y).lightness() for x in range(0, 440, 2) for y in range(0, 120, 2)}
    assert max(seen) > 200


def test_a_doubtful_camera_says_so_on_a_strip_above_the_picture(qtbot: QtBot) -> None:
    view = made(qtbot)
    view.show_picture(flat(255))
    view.show_state(
        replace(STATES["tool"](), camera=replace(LIVE, sentence="The picture is dark."))
    )
    assert colour_at(view, 500, 5).lightness() < 70
    assert colour_at(view, 500, 100).lightness() == 255


def test_a_burst_fills_the_strip_at_the_lower_edge(qtbot: QtBot) -> None:
    view = made(qtbot)
    view.show_picture(flat(255))
    view.show_state(STATES["sighting"]())
    assert close_to(colour_at(view, 640 * 4 / 12, 477), DARK.target, 3)
    assert close_to(colour_at(view, 640 * 6 / 12, 477), DARK.surround, 3)


def test_an_old_answer_is_dimmed_once_newer_frames_come(qtbot: QtBot) -> None:
    view = made(qtbot)
    view.show_state(STATES["tool"]())
    view.show_picture(shown())
    assert not view.overlay.dimmed
    frame = shown()
    view.show_picture(replace(frame, frame=replace(frame.frame, arrived_at_s=2.0)))
    assert view.overlay.dimmed


def test_another_picture_size_is_shown_whole_without_the_old_rim(qtbot: QtBot) -> None:
    view = made(qtbot)
    view.show_state(STATES["tool"]())
    view.show_picture(shown())
    assert view.overlay.dashes
    view.zoom_in()
    view.show_picture(flat(90, (320, 240)))
    assert looking(view).is_whole
    assert view.overlay.dashes == ()
    assert not looking(view).holds(PointPx(330.0, 100.0))


@pytest.mark.parametrize("name", STATES)
def test_every_state_can_be_painted(qtbot: QtBot, name: str) -> None:
    view = made(qtbot, (500, 380))
    view.show_picture(shown())
    view.show_state(STATES[name]())
    assert not view.grab().isNull()
    assert view.accessibleName()
    assert view.accessibleDescription()
