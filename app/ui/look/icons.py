"""The program's own icons, painted from paths: sharp at any size and on any screen."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import (
    QColor,
    QIcon,
    QImage,
    QPainter,
    QPainterPath,
    QPen,
    QPixmap,
)

from app.ui.look.colours import DARK, ORANGE, SKY_BLUE

GRID = 24.0
"""All icons are drawn on a square of this side."""

ICON_SIZES = (16, 20, 24, 30, 32, 36, 40, 48, 64, 96)
"""In pixels of the screen: 16, 20, 24 and 32 at the ratios 1, 1.5 and 2. Between them Qt
scales the next larger one down."""

APP_ICON_SIZES = (16, 22, 24, 32, 48, 64, 128, 256, 512)

_STROKE = 2.0


class IconName(StrEnum):
    """The icons there are."""

    SIGHT = "sight"
    UNDO = "undo"
    STRIKE = "strike"
    CAMERA = "camera"
    MACHINE = "machine"
    FILE = "file"
    NETWORK = "network"
    BENCH = "bench"
    COPY = "copy"
    SAVE = "save"
    SUN = "sun"
    MOON = "moon"
    HALF = "half"
    SPEAKER = "speaker"
    BELL = "bell"
    HELP = "help"
    MENU = "menu"
    HOME = "home"
    CHECK = "check"
    WARNING = "warning"
    RESUME = "resume"
    BACK = "back"
    PLUS = "plus"
    REMOVE = "remove"


@dataclass(frozen=True, slots=True)
class Drawing:
    """What an icon is made of, on the grid: lines of one width, and filled parts."""

    lines: QPainterPath
    fills: QPainterPath


def icon(name: IconName | str, colour: str) -> QIcon:
    """Return an icon in a colour, painted anew for each size in `ICON_SIZES`.

    A disabled icon is paler. Pixmaps and no icon engine of our own: Qt may ask an
    engine for a copy, and PySide6 then frees the copy while the icon still uses it.

    Raises
    ------
    ValueError
        When there is no icon of this name.
    """
    which, made = IconName(name), QIcon()
    for side in ICON_SIZES:
        made.addPixmap(icon_pixmap(which, colour, side), QIcon.Mode.Normal)
        made.addPixmap(icon_pixmap(which, colour, side, opacity=0.6), QIcon.Mode.Disabled)
    return made


def icon_pixmap(name: IconName, colour: str, side: int, *, opacity: float = 1.0) -> QPixmap:
    """Return an icon of `side` pixels on a transparent ground."""
    made = QPixmap(side, side)
    made.fill(Qt.GlobalColor.transparent)
    painter = QPainter(made)
    painter.setOpacity(opacity)
    paint_icon(painter, QRectF(0.0, 0.0, side, side), name, colour)
    painter.end()
    return made


def paint_icon(painter: QPainter, square: QRectF, name: IconName, colour: str) -> None:
    """Paint an icon as large as fits into a rectangle."""
    side = min(square.width(), square.height())
    drawing = _DRAWINGS[name]()
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.translate(square.center() - QPointF(side / 2.0, side / 2.0))
    painter.scale(side / GRID, side / GRID)
    pen = QPen(QColor(colour), _STROKE)
    pen.setCapStyle(Qt.PenCapStyle.RoundCap)
    pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    painter.strokePath(drawing.lines, pen)
    painter.fillPath(drawing.fills, QColor(colour))
    painter.restore()


def app_icon() -> QIcon:
    """Return the program's mark in all sizes that desktops ask for."""
    made = QIcon()
    for side in APP_ICON_SIZES:
        made.addPixmap(QPixmap.fromImage(app_image(side)))
    return made


def app_image(side: int) -> QImage:
    """Return the program's mark, side by side pixels, on a transparent ground."""
    image = QImage(side, side, QImage.Format.Format_ARGB32_Premultiplied)
    image.fill(Qt.GlobalColor.transparent)
    painter = QPainter(image)
    _paint_mark(painter, float(side))
    painter.end()
    return image


def save_app_icon(path: Path, side: int = 256) -> None:
    """Write the program's mark as a PNG.

    Raises
    ------
    OSError
        When the file cannot be written.
    """
    if not app_image(side).save(str(path)):
        raise OSError(f"The icon could not be written to {path}.")


def _paint_mark(painter: QPainter, side: float) -> None:
    """Four corner marks, and a dot off their middle that a short arrow brings home."""
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.scale(side / GRID, side / GRID)
    ground = QPainterPath()
    ground.addRoundedRect(QRectF(0.5, 0.5, 23.0, 23.0), 5.0, 5.0)
    painter.fillPath(ground, QColor(DARK.ground))
    painter.strokePath(ground, QPen(QColor(DARK.outline), 0.8))
    # Small sizes need a stouter line, or the marks go grey.
    width = 2.2 if side < 32 else 1.8
    pen = QPen(QColor(ORANGE), width)
    pen.setCapStyle(Qt.PenCapStyle.RoundCap)
    pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    painter.strokePath(_corners(4.2, 3.4), pen)
    painter.fillPath(_dot(15.6, 8.4, 2.4), QColor(SKY_BLUE))
    if side < 22:
        return
    arrow = _lines([(12.4, 11.6), (9.2, 14.8)], [(9.2, 11.7), (9.0, 15.0), (12.3, 14.8)])
    pen.setColor(QColor(DARK.text))
    pen.setWidthF(width * 0.9)
    painter.strokePath(arrow, pen)


def _lines(*chains: list[tuple[float, float]]) -> QPainterPath:
    path = QPainterPath()
    for chain in chains:
        path.moveTo(*chain[0])
        for point in chain[1:]:
            path.lineTo(*point)
    return path


def _polygon(*points: tuple[float, float]) -> QPainterPath:
    path = _lines(list(points))
    path.closeSubpath()
    return path


def _dot(u: float, v: float, radius: float) -> QPainterPath:
    path = QPainterPath()
    path.addEllipse(QPointF(u, v), radius, radius)
    return path


def _box(left: float, top: float, wide: float, high: float, radius: float = 2.0) -> QPainterPath:
    path = QPainterPath()
    path.addRoundedRect(QRectF(left, top, wide, high), radius, radius)
    return path


def _arc(u: float, v: float, radius: float, start_deg: float, sweep_deg: float) -> QPainterPath:
    path = QPainterPath()
    box = QRectF(u - radius, v - radius, 2 * radius, 2 * radius)
    path.arcMoveTo(box, start_deg)
    path.arcTo(box, start_deg, sweep_deg)
    return path


def _joined(*paths: QPainterPath) -> QPainterPath:
    whole = QPainterPath()
    whole.setFillRule(Qt.FillRule.WindingFill)
    for path in paths:
        whole.addPath(path)
    return whole


def _corners(edge: float, leg: float) -> QPainterPath:
    far = GRID - edge
    return _lines(
        [(edge, edge + leg), (edge, edge), (edge + leg, edge)],
        [(far - leg, edge), (far, edge), (far, edge + leg)],
        [(far, far - leg), (far, far), (far - leg, far)],
        [(edge + leg, far), (edge, far), (edge, far - leg)],
    )


def _drawn(*lines: QPainterPath, fills: tuple[QPainterPath, ...] = ()) -> Drawing:
    return Drawing(lines=_joined(*lines), fills=_joined(*fills))


def _sight() -> Drawing:
    return _drawn(_corners(4.0, 4.5), fills=(_dot(12, 12, 2.6),))


def _undo() -> Drawing:
    back = QPainterPath(QPointF(4.5, 9.0))
    back.lineTo(14.0, 9.0)
    back.cubicTo(21.5, 9.0, 21.5, 19.0, 14.0, 19.0)
    back.lineTo(8.5, 19.0)
    return _drawn(back, _lines([(8.5, 4.8), (4.2, 9.0), (8.5, 13.2)]))


def _strike() -> Drawing:
    return _drawn(_box(6, 6, 12, 12), _lines([(3, 16.5), (21, 7.5)]))


def _camera() -> Drawing:
    # A microscope lying on the bed and looking up: barrel, rim of light, foot, cable.
    cable = QPainterPath(QPointF(12, 20.5))
    cable.cubicTo(17, 20.5, 15, 15.5, 20.5, 16.0)
    return _drawn(
        _box(7.5, 9, 9, 11.5, 1.5),
        _lines([(9.0, 6.5), (15.0, 6.5)]),
        _lines([(12, 3.6), (12, 3.4)], [(6.6, 4.4), (6.4, 4.2)], [(17.4, 4.4), (17.6, 4.2)]),
        cable,
    )


def _machine() -> Drawing:
    frame = _lines([(4, 20.5), (4, 4), (20, 4), (20, 20.5)], [(2.5, 20.5), (21.5, 20.5)])
    rail = _lines([(4, 9), (20, 9)])
    return _drawn(frame, rail, fills=(_polygon((8.5, 9), (15.5, 9), (13, 16), (11, 16)),))


def _file() -> Drawing:
    sheet = _polygon((6, 3), (14, 3), (19, 8), (19, 21), (6, 21))
    return _drawn(
        sheet, _lines([(14, 3), (14, 8), (19, 8)], [(9.5, 13), (15, 13)], [(9.5, 17), (15, 17)])
    )


def _network() -> Drawing:
    return _drawn(
        _box(9, 3, 6, 5, 1),
        _box(3, 16, 6, 5, 1),
        _box(15, 16, 6, 5, 1),
        _lines([(12, 8), (12, 12)], [(6, 16), (6, 12), (18, 12), (18, 16)]),
    )


def _bench() -> Drawing:
    spokes = [
        [
            (12 + 2.2 * math.cos(t), 12 + 2.2 * math.sin(t)),
            (12 + 9.0 * math.cos(t), 12 + 9.0 * math.sin(t)),
        ]
        for t in (math.radians(a) for a in (90, 210, 330))
    ]
    return _drawn(
        _arc(12, 12, 9, 0, 360), _lines(*spokes), fills=(_dot(12, 12, 2.4), _dot(17, 6, 2.8))
    )


def _copy() -> Drawing:
    return _drawn(
        _box(9, 9, 11.5, 11.5), _lines([(15, 5.5), (15, 3.5), (3.5, 3.5), (3.5, 15), (5.5, 15)])
    )


def _save() -> Drawing:
    return _drawn(
        _lines([(12, 3.5), (12, 14.5)], [(7.5, 10.2), (12, 14.7), (16.5, 10.2)]),
        _lines([(4, 15.5), (4, 20.5), (20, 20.5), (20, 15.5)]),
    )


def _sun() -> Drawing:
    rays = [
        [
            (12 + 7.6 * math.cos(t), 12 + 7.6 * math.sin(t)),
            (12 + 9.8 * math.cos(t), 12 + 9.8 * math.sin(t)),
        ]
        for t in (math.radians(45 * n) for n in range(8))
    ]
    return _drawn(_arc(12, 12, 4.2, 0, 360), _lines(*rays))


def _moon() -> Drawing:
    whole = _dot(12, 12, 8.5)
    return _drawn(whole.subtracted(_dot(16.5, 9.0, 7.0)))


def _half() -> Drawing:
    half = _arc(12, 12, 8.5, 90, 180)
    half.closeSubpath()
    return _drawn(_arc(12, 12, 8.5, 0, 360), fills=(half,))


def _speaker() -> Drawing:
    body = _polygon((3.5, 9.3), (7, 9.3), (12, 5), (12, 19), (7, 14.7), (3.5, 14.7))
    return _drawn(body, _arc(12, 12, 4.2, -50, 100), _arc(12, 12, 8.2, -50, 100), fills=(body,))


def _bell() -> Drawing:
    bell = QPainterPath(QPointF(4, 17))
    bell.cubicTo(8, 14, 5, 5, 12, 5)
    bell.cubicTo(19, 5, 16, 14, 20, 17)
    bell.closeSubpath()
    return _drawn(bell, _lines([(12, 3), (12, 5)]), fills=(_dot(12, 20.2, 1.9),))


def _help() -> Drawing:
    hook = QPainterPath(QPointF(7.5, 8.5))
    hook.cubicTo(7.5, 2.0, 17.0, 2.0, 16.5, 8.5)
    hook.cubicTo(16.2, 11.5, 12.0, 11.5, 12.0, 15.5)
    return _drawn(hook, fills=(_dot(12, 20, 1.7),))


def _menu() -> Drawing:
    return _drawn(_lines([(4, 6.5), (20, 6.5)], [(4, 12), (20, 12)], [(4, 17.5), (20, 17.5)]))


def _home() -> Drawing:
    return _drawn(
        _lines([(3, 12), (12, 4), (21, 12)], [(6, 10.5), (6, 20), (18, 20), (18, 10.5)]),
        fills=(_box(10, 14, 4, 6, 0.5),),
    )


def _check() -> Drawing:
    return _drawn(_lines([(4.5, 12.5), (9.8, 18), (19.5, 6.5)]))


def _warning() -> Drawing:
    return _drawn(
        _polygon((12, 3.8), (21.2, 20), (2.8, 20)),
        _lines([(12, 9.8), (12, 13.6)]),
        fills=(_dot(12, 17, 1.4),),
    )


def _resume() -> Drawing:
    return _drawn(_lines([(4.5, 5), (4.5, 19)]), _polygon((9, 5), (20, 12), (9, 19)))


def _back() -> Drawing:
    return _drawn(_lines([(20, 12), (4.5, 12)], [(11, 5), (4, 12), (11, 19)]))


def _plus() -> Drawing:
    return _drawn(_lines([(12, 4.5), (12, 19.5)], [(4.5, 12), (19.5, 12)]))


def _remove() -> Drawing:
    return _drawn(
        _lines([(4, 6.5), (20, 6.5)], [(9, 6.5), (9, 3.8), (15, 3.8), (15, 6.5)]),
        _lines(
            [(6, 6.5), (7, 20.5), (17, 20.5), (18, 6.5)],
            [(10, 11), (10, 16.5)],
            [(14, 11), (14, 16.5)],
        ),
    )


_DRAWINGS: dict[IconName, Callable[[], Drawing]] = {
    IconName.SIGHT: _sight,
    IconName.UNDO: _undo,
    IconName.STRIKE: _strike,
    IconName.CAMERA: _camera,
    IconName.MACHINE: _machine,
    IconName.FILE: _file,
    IconName.NETWORK: _network,
    IconName.BENCH: _bench,
    IconName.COPY: _copy,
    IconName.SAVE: _save,
    IconName.SUN: _sun,
    IconName.MOON: _moon,
    IconName.HALF: _half,
    IconName.SPEAKER: _speaker,
    IconName.BELL: _bell,
    IconName.HELP: _help,
    IconName.MENU: _menu,
    IconName.HOME: _home,
    IconName.CHECK: _check,
    IconName.WARNING: _warning,
    IconName.RESUME: _resume,
    IconName.BACK: _back,
    IconName.PLUS: _plus,
    IconName.REMOVE: _remove,
}
