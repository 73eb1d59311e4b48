"""Rows of the task panel: a line to tick, small keys, a strip of words, a row that wraps."""

from __future__ import annotations

from PySide6.QtCore import QRect, QRectF, QSize, Qt
from PySide6.QtGui import (
    QColor,
    QFont,
    QFontMetrics,
    QPainter,
    QPaintEvent,
    QPen,
    QResizeEvent,
    QShowEvent,
)
from PySide6.QtWidgets import QAbstractButton, QHBoxLayout, QSizePolicy, QWidget

from app.ui.keys import Key
from app.ui.look.colours import Colours
from app.ui.look.icons import IconName, paint_icon
from app.ui.look.parts import StateShape, WrapLabel
from app.ui.look.shapes import paint_state
from app.ui.look.states import State
from app.ui.look.style import GAP, RADIUS, SMALL_PX

_BOX_PX = 18
_ROW_PAD_PX = 4
_CAP_PX = 20
_FLOW_GAP_PX = 4
_KEY_PX = 10
_ICON_PX = 18
_WRAP = int(Qt.TextFlag.TextWordWrap | Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)


class TickRow(QAbstractButton):
    """A line of words with a box to tick; the words wrap, and the whole line is the target.

    With a key, it is shown at the right in its cap.
    """

    def __init__(
        self,
        words: str,
        colours: Colours,
        *,
        key: Key | None = None,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._colours = colours
        self._key = key
        self.setCheckable(True)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        policy = QSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)
        self.setText(words)
        self.setAccessibleName(words)

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._colours = colours
        self.update()

    def heightForWidth(self, width: int) -> int:
        """Return the height that the words need at a width."""
        room = QRect(0, 0, max(width - self._words_left() - self._words_right(), 1), 10_000)
        high = self.fontMetrics().boundingRect(room, _WRAP, self.text()).height()
        return max(high, _BOX_PX) + 2 * _ROW_PAD_PX

    def sizeHint(self) -> QSize:
        """Return the size of the words on one line, at most some 30 letters."""
        metrics = self.fontMetrics()
        wide = min(metrics.horizontalAdvance(self.text()) + 2, 30 * metrics.averageCharWidth())
        wide += self._words_left() + self._words_right()
        return QSize(wide, self.heightForWidth(wide))

    def minimumSizeHint(self) -> QSize:
        """Return a small width, so that no line widens its column."""
        return QSize(min(self.sizeHint().width(), 80), _BOX_PX + 2 * _ROW_PAD_PX)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Hold the height to the new width."""
        super().resizeEvent(event)
        need = self.heightForWidth(self.width())
        if need != self.minimumHeight():
            self.setMinimumHeight(need)

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Paint the box, its tick and the words."""
        c = self._colours
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        if self.hasFocus():
            painter.setPen(QPen(QColor(c.accent), 2.0))
            edge = QRectF(self.rect()).adjusted(1, 1, -1, -1)
            painter.drawRoundedRect(edge, RADIUS, RADIUS)
        box = QRectF(_ROW_PAD_PX, (self.height() - _BOX_PX) / 2.0, _BOX_PX, _BOX_PX)
        if self.isChecked():
            paint_state(painter, box, State.GOOD, c)
        else:
            hover = self.underMouse() and self.isEnabled()
            painter.setPen(QPen(QColor(c.accent if hover else c.outline), 1.6))
            painter.drawRoundedRect(box.adjusted(1.5, 1.5, -1.5, -1.5), 3.0, 3.0)
        painter.setPen(QColor(c.text if self.isEnabled() else c.muted))
        words = self.rect().adjusted(self._words_left(), 0, -self._words_right(), 0)
        painter.drawText(words, _WRAP, self.text())
        if self._key is not None:
            self._paint_cap(painter, self._key.shown)

    def _paint_cap(self, painter: QPainter, shown: str) -> None:
        cap = QRectF(0, 0, _CAP_PX, _CAP_PX)
        cap.moveCenter(QRectF(self.rect()).center())
        cap.moveRight(self.width() - _ROW_PAD_PX - 0.5)
        painter.setPen(QPen(QColor(self._colours.outline), 1.0))
        painter.setBrush(QColor(self._colours.surface))
        painter.drawRoundedRect(cap, 4.0, 4.0)
        painter.setPen(QColor(self._colours.muted))
        painter.drawText(cap, Qt.AlignmentFlag.AlignCenter, shown)

    def _words_right(self) -> int:
        return _ROW_PAD_PX if self._key is None else 2 * _ROW_PAD_PX + _CAP_PX

    @staticmethod
    def _words_left() -> int:
        return _ROW_PAD_PX + _BOX_PX + GAP


class SmallKey(QAbstractButton):
    """A quiet key of two lines: a word or an icon above, the key on the keyboard below.

    Parameters
    ----------
    words
        What it does, in a word or two; the accessible name unless `name` is given.
    key
        Its key; the window binds it.
    icon
        Shown in place of the words.
    name, hint
        For screen readers, and for the tooltip; the key is added to the tooltip.
    """

    def __init__(
        self,
        words: str,
        key: Key,
        colours: Colours,
        *,
        hint: str,
        name: str = "",
        icon: IconName | None = None,
        checkable: bool = False,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._key = key
        self._icon = icon
        self._colours = colours
        self.setText(words)
        self.setAccessibleName(name or words)
        self.setToolTip(f"{hint}  ({key.shown})")
        self.setCheckable(checkable)
        # A click must not take the keyboard away from the fields.
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setSizePolicy(QSizePolicy.Policy.Minimum, QSizePolicy.Policy.Fixed)

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._colours = colours
        self.update()

    def sizeHint(self) -> QSize:
        """Return the room for both lines."""
        above = _ICON_PX if self._icon else self._metrics(SMALL_PX).horizontalAdvance(self.text())
        below = self._metrics(_KEY_PX).horizontalAdvance(self._key.shown)
        high = max(_ICON_PX, self._metrics(SMALL_PX).height()) + self._metrics(_KEY_PX).height()
        return QSize(max(above, below, 18) + 8, high + 4)

    def minimumSizeHint(self) -> QSize:
        """Return the room for both lines: nothing is cut."""
        return self.sizeHint()

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Paint word or icon, and the key."""
        c = self._colours
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        self._paint_ground(painter)
        on = self.isChecked()
        ink, quiet = (c.on_accent, c.on_accent) if on else (c.text, c.muted)
        if not self.isEnabled():
            ink = c.muted
        below = self._metrics(_KEY_PX).height()
        above = QRect(0, 2, self.width(), self.height() - below - 4)
        if self._icon is not None:
            square = QRectF(0, 0, _ICON_PX, _ICON_PX)
            square.moveCenter(QRectF(above).center())
            paint_icon(painter, square, self._icon, ink)
        else:
            painter.setFont(self._font(SMALL_PX))
            painter.setPen(QColor(ink))
            painter.drawText(above, Qt.AlignmentFlag.AlignCenter, self.text())
        painter.setFont(self._font(_KEY_PX))
        painter.setPen(QColor(quiet))
        line = QRect(0, self.height() - below - 2, self.width(), below)
        painter.drawText(line, Qt.AlignmentFlag.AlignCenter, self._key.shown)

    def _paint_ground(self, painter: QPainter) -> None:
        c = self._colours
        box = QRectF(self.rect()).adjusted(1, 1, -1, -1)
        painter.setBrush(QColor(c.accent) if self.isChecked() else Qt.BrushStyle.NoBrush)
        if self.hasFocus():
            painter.setPen(QPen(QColor(c.text if self.isChecked() else c.accent), 2.0))
        elif self.underMouse() and self.isEnabled():
            painter.setPen(QPen(QColor(c.outline), 1.0))
        else:
            painter.setPen(Qt.PenStyle.NoPen)
        painter.drawRoundedRect(box, RADIUS, RADIUS)

    def _font(self, size_px: int) -> QFont:
        font = QFont(self.font())
        font.setPixelSize(size_px)
        return font

    def _metrics(self, size_px: int) -> QFontMetrics:
        return QFontMetrics(self._font(size_px))


class FlowRow(QWidget):
    """Puts what it is given beside each other, and on a further line where it does not fit."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._parts: list[QWidget] = []
        policy = QSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)

    def add(self, part: QWidget) -> None:
        """Put one more thing at the end."""
        part.setParent(self)
        self._parts.append(part)

    def arrange(self) -> None:
        """Lay out anew, after a part was shown, hidden or has other words."""
        places, high = self._places(self.width())
        for part, place in places:
            if part.geometry() != place:
                part.setGeometry(place)
        if high != self.minimumHeight():
            self.setMinimumHeight(high)
            self.updateGeometry()

    def heightForWidth(self, width: int) -> int:
        """Return the height of all lines."""
        return self._places(width)[1]

    def sizeHint(self) -> QSize:
        """Return the size on one line."""
        shown = [part.sizeHint() for part in self._parts if not part.isHidden()]
        wide = sum(size.width() + _FLOW_GAP_PX for size in shown)
        return QSize(wide, max((size.height() for size in shown), default=0))

    def minimumSizeHint(self) -> QSize:
        """Return a small width, so that the row never widens its column."""
        return QSize(60, self.minimumHeight())

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Lay out for the new width."""
        super().resizeEvent(event)
        self.arrange()

    def showEvent(self, event: QShowEvent) -> None:
        """Lay out with the sizes that the style gives; before, parts had none yet."""
        super().showEvent(event)
        self.arrange()

    def _places(self, width: int) -> tuple[list[tuple[QWidget, QRect]], int]:
        places: list[tuple[QWidget, QRect]] = []
        left = top = line = 0
        for part in self._parts:
            if part.isHidden():
                continue
            size = part.sizeHint()
            wide = min(size.width(), max(width, 1))
            if left and left + wide > width:
                left, top, line = 0, top + line + _ROW_PAD_PX, 0
            places.append((part, QRect(left, top, wide, size.height())))
            left, line = left + wide + _FLOW_GAP_PX, max(line, size.height())
        return places, top + line


class WordStrip(QWidget):
    """Words with a shape on a quiet ground: where the eye already is."""

    def __init__(
        self, state: State, colours: Colours, *, look: str = "", parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self._colours = colours
        self._shape = StateShape(state, colours, parent=self)
        self._words = WrapLabel(look=look, parent=self)
        row = QHBoxLayout(self)
        row.setContentsMargins(GAP, GAP - 2, GAP, GAP - 2)
        row.setSpacing(GAP)
        row.addWidget(self._shape, 0, Qt.AlignmentFlag.AlignTop)
        row.addWidget(self._words, 1)
        policy = QSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)

    @property
    def words(self) -> str:
        """What is said."""
        return self._words.text()

    def say(self, words: str, state: State | None = None) -> None:
        """Say something else; nothing at all hides the strip."""
        if state is not None:
            self._shape.set_state(state)
        if words != self._words.text():
            self._words.setText(words)
            self.setAccessibleName(words)
            self.updateGeometry()
        self.setVisible(bool(words))

    def set_small(self, small: bool) -> None:
        """Set the words smaller, or as usual."""
        set_look(self._words, "small" if small else "")

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._colours = colours
        self._shape.use_colours(colours)
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Paint the ground."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(QColor(self._colours.line), 1.0))
        painter.setBrush(QColor(self._colours.raised))
        painter.drawRoundedRect(QRectF(self.rect()).adjusted(0.5, 0.5, -0.5, -0.5), RADIUS, RADIUS)


def set_look(label: WrapLabel, look: str) -> None:
    """Give a label another type, and let it find its height anew."""
    if (label.property("look") or "") == look:
        return
    label.setProperty("look", look)
    label.style().unpolish(label)
    label.style().polish(label)
    text = label.text()
    label.setText("")
    label.setText(text)


class ThinBar(QWidget):
    """How much of something is done, as a thin bar."""

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._colours = colours
        self._share = 0.0
        self.setFixedHeight(6)
        self.setMinimumWidth(40)

    @property
    def share(self) -> float:
        """What is shown, 0 to 1."""
        return self._share

    def set_share(self, share: float) -> None:
        """Show another share, 0 to 1."""
        if share != self._share:
            self._share = min(max(share, 0.0), 1.0)
            self.update()

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._colours = colours
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Paint the whole and the part that is done."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(self._colours.line))
        painter.drawRoundedRect(self.rect(), 3, 3)
        painter.setBrush(QColor(self._colours.accent))
        done = QRectF(0, 0, self.width() * self._share, self.height())
        painter.drawRoundedRect(done, 3, 3)
