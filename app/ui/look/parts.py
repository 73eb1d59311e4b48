"""Small parts that every room of the window uses: labels, buttons with keys, badges."""

from __future__ import annotations

from PySide6.QtCore import QPoint, QRect, QRectF, QSize, Qt
from PySide6.QtGui import (
    QColor,
    QFont,
    QFontMetrics,
    QKeySequence,
    QPainter,
    QPaintEvent,
    QPen,
    QResizeEvent,
    QTextLayout,
    QTextOption,
)
from PySide6.QtWidgets import (
    QHBoxLayout,
    QLabel,
    QPushButton,
    QSizePolicy,
    QStyle,
    QStyleOptionButton,
    QStylePainter,
    QWidget,
)

from app.ui.keys import Key
from app.ui.look.colours import Colours
from app.ui.look.shapes import paint_state
from app.ui.look.states import State
from app.ui.look.style import GAP, SMALL_PX

_CAP_PAD_PX = 6
_BADGE_PX = 16


class KeyButton(QPushButton):
    """A button that shows its key in a cap at the right.

    Parameters
    ----------
    words
        What it does; also its accessible name.
    key
        Its key; the window binds it, the button only shows it.
    colours
        Of the present look.
    look
        ``primary``, ``quiet`` or empty for a plain button.
    hint
        What it does at more length, for the tooltip; the key is added.
    """

    def __init__(
        self,
        words: str,
        key: Key,
        colours: Colours,
        *,
        look: str = "",
        hint: str = "",
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._key = key
        self._colours = colours
        self._hint = hint
        self._look = look
        if look:
            self.setProperty("look", look)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        self.set_words(words)

    @property
    def words(self) -> str:
        """What the button says, without its key."""
        return self.text()

    def set_words(self, words: str) -> None:
        """Change what the button says; its key stays."""
        if words == self.text() and self.accessibleName() == words:
            return
        self.setText(words)
        # An ampersand in a name would make a mnemonic: the keys are the window's own.
        self.setShortcut(QKeySequence())
        self.setAccessibleName(words)
        self._tell()
        self.updateGeometry()
        self.update()

    def set_key(self, key: Key) -> None:
        """Change the key that is shown."""
        if key != self._key:
            self._key = key
            self._tell()
            self.updateGeometry()
            self.update()

    def set_hint(self, hint: str) -> None:
        """Change what the tooltip says, such as why the button is disabled."""
        if hint != self._hint:
            self._hint = hint
            self._tell()

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._colours = colours
        self.update()

    def shown_words(self) -> str:
        """Return the words as they fit now, with an ellipsis where they do not."""
        room = self._words_rect().width()
        return self.fontMetrics().elidedText(self.words, Qt.TextElideMode.ElideRight, room)

    def sizeHint(self) -> QSize:
        """Return the room for all words and the key."""
        return self._size_for(self.fontMetrics().horizontalAdvance(self.words) + 2)

    def minimumSizeHint(self) -> QSize:
        """Return the room for a few letters and the key."""
        wide = self.fontMetrics().horizontalAdvance(self.words) + 2
        return self._size_for(min(wide, 4 * self.fontMetrics().averageCharWidth()))

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Paint the style's button, the words, and the key in its cap."""
        painter = QStylePainter(self)
        painter.drawControl(QStyle.ControlElement.CE_PushButtonBevel, self._bare_option())
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QColor(self._ink()))
        painter.setFont(self.font())
        painter.drawText(
            self._words_rect(),
            Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft,
            self.shown_words(),
        )
        self._paint_cap(painter)

    def _paint_cap(self, painter: QPainter) -> None:
        if not self._key.shown:
            return
        c = self._colours
        ground, ink, edge = c.surface, c.muted, c.outline
        if not self.isEnabled():
            edge = c.line
        elif self._look == "primary" or self.isChecked():
            ground, ink, edge = c.on_accent, c.accent, c.on_accent
        cap = QRectF(self._cap_rect()).adjusted(0.5, 0.5, -0.5, -0.5)
        painter.setPen(QPen(QColor(edge), 1.0))
        painter.setBrush(QColor(ground))
        painter.drawRoundedRect(cap, 4.0, 4.0)
        painter.setPen(QColor(ink))
        painter.setFont(self._cap_font())
        painter.drawText(cap, Qt.AlignmentFlag.AlignCenter, self._key.shown)

    def _ink(self) -> str:
        if not self.isEnabled():
            return self._colours.muted
        if self._look == "primary" or self.isChecked():
            return self._colours.on_accent
        return self._colours.text

    def _tell(self) -> None:
        first = self._hint or self.words
        self.setToolTip(f"{first}  ({self._key.shown})" if self._key.shown else first)

    def _bare_option(self) -> QStyleOptionButton:
        option = QStyleOptionButton()
        self.initStyleOption(option)
        option.text = ""
        return option

    def _cap_font(self) -> QFont:
        font = QFont(self.font())
        font.setPixelSize(SMALL_PX)
        font.setBold(False)
        return font

    def _cap_width(self) -> int:
        if not self._key.shown:
            return 0
        metrics = QFontMetrics(self._cap_font())
        return max(metrics.horizontalAdvance(self._key.shown) + 2 * _CAP_PAD_PX, 20)

    def _inner(self) -> QRect:
        option = self._bare_option()
        return self.style().subElementRect(QStyle.SubElement.SE_PushButtonContents, option, self)

    def _cap_rect(self) -> QRect:
        inner, wide, high = self._inner(), self._cap_width(), SMALL_PX + 8
        top = inner.center().y() - high // 2 + 1
        return QRect(inner.right() - wide + 1, top, wide, high)

    def _words_rect(self) -> QRect:
        taken = self._cap_width() + GAP if self._key.shown else 0
        return self._inner().adjusted(0, 0, -taken, 0)

    def _size_for(self, words_px: int) -> QSize:
        option = self._bare_option()
        high = max(self.fontMetrics().height(), SMALL_PX + 8)
        inner = QSize(words_px + (self._cap_width() + GAP if self._key.shown else 0), high)
        return self.style().sizeFromContents(QStyle.ContentsType.CT_PushButton, option, inner, self)


class ElidedLabel(QLabel):
    """A label of one line that ends in an ellipsis where it does not fit.

    `text()` stays the whole text, which is also the tooltip while it is cut.
    """

    def __init__(
        self,
        text: str = "",
        *,
        look: str = "",
        mode: Qt.TextElideMode = Qt.TextElideMode.ElideRight,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._mode = mode
        self._own_tip = ""
        if look:
            self.setProperty("look", look)
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        self.setText(text)

    def setText(self, text: str) -> None:
        """Show another text; nothing happens when it is the same."""
        if text != self.text():
            super().setText(text)
        self._tell()

    def set_tip(self, tip: str) -> None:
        """Give a tooltip for when the text is not cut."""
        self._own_tip = tip
        self._tell()

    def shown_text(self) -> str:
        """Return what fits."""
        room = self.contentsRect().width()
        return self.fontMetrics().elidedText(self.text(), self._mode, room)

    def minimumSizeHint(self) -> QSize:
        """Return the room for a letter and an ellipsis."""
        few = 3 * self.fontMetrics().averageCharWidth()
        return QSize(min(few, super().sizeHint().width()), super().sizeHint().height())

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Keep the tooltip true."""
        super().resizeEvent(event)
        self._tell()

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Paint what fits."""
        painter = QPainter(self)
        self.style().drawItemText(
            painter,
            self.contentsRect(),
            self.alignment().value,
            self.palette(),
            self.isEnabled(),
            self.shown_text(),
            self.foregroundRole(),
        )

    def _tell(self) -> None:
        cut = self.shown_text() != self.text()
        tip = self.text() if cut else self._own_tip
        if tip != self.toolTip():
            self.setToolTip(tip)


class WrapLabel(QLabel):
    """A label that wraps, also inside long words, and takes the height it needs.

    It answers with the height for whatever width a layout asks about, and never asks for
    a wide column. A plain wrapping label does neither: it cannot break a long word.
    """

    def __init__(self, text: str = "", *, look: str = "", parent: QWidget | None = None) -> None:
        super().__init__(parent)
        if look:
            self.setProperty("look", look)
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setWordWrap(True)
        policy = QSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)
        self.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
        self.setText(text)

    def setText(self, text: str) -> None:
        """Show another text; nothing happens when it is the same."""
        if text != self.text():
            super().setText(text)
            self.updateGeometry()
            self.update()

    def heightForWidth(self, width: int) -> int:
        """Return the height that the text needs at a width."""
        if not self.text():
            return 0
        margins = self.contentsMargins()
        inner = width - margins.left() - margins.right()
        high = self._laid_out(max(inner, 1))[1]
        return high + margins.top() + margins.bottom()

    def sizeHint(self) -> QSize:
        """Return a size of some 40 letters a line, or less for a short text."""
        wide = self.fontMetrics().size(0, self.text()).width() + 1
        wide = min(wide, 40 * self.fontMetrics().averageCharWidth())
        return QSize(wide, self.heightForWidth(wide))

    def minimumSizeHint(self) -> QSize:
        """Return a small width, so that no text ever widens its column."""
        least = min(self.sizeHint().width(), 8 * self.fontMetrics().averageCharWidth())
        return QSize(least, self.fontMetrics().height() if self.text() else 0)

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Paint the lines."""
        painter = QPainter(self)
        ink = self.palette().color(self.foregroundRole())
        painter.setPen(ink)
        inner = self.contentsRect()
        layout, high = self._laid_out(inner.width())
        top = inner.top()
        if self.alignment() & Qt.AlignmentFlag.AlignVCenter:
            top += max(0, (inner.height() - high) // 2)
        layout.draw(painter, QPoint(inner.left(), top).toPointF())

    def _laid_out(self, width: int) -> tuple[QTextLayout, int]:
        layout = QTextLayout(self.text().replace("\n", "\u2028"), self.font())
        option = QTextOption(self.alignment() & Qt.AlignmentFlag.AlignHorizontal_Mask)
        option.setWrapMode(QTextOption.WrapMode.WrapAtWordBoundaryOrAnywhere)
        layout.setTextOption(option)
        layout.beginLayout()
        top = 0.0
        while (line := layout.createLine()).isValid():
            line.setLineWidth(float(width))
            line.setPosition(QPoint(0, round(top)).toPointF())
            top += line.height() + max(0.0, line.leading())
        layout.endLayout()
        return layout, round(top + 0.49)


class StateShape(QWidget):
    """The shape of a state, without its word. For where the word stands beside it."""

    def __init__(
        self,
        state: State,
        colours: Colours,
        *,
        size_px: int = _BADGE_PX,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._state = state
        self._colours = colours
        self.setFixedSize(size_px, size_px)
        self.setAccessibleName(state.value)

    @property
    def state(self) -> State:
        """What is shown."""
        return self._state

    def set_state(self, state: State) -> None:
        """Show another state."""
        if state is not self._state:
            self._state = state
            self.setAccessibleName(state.value)
            self.update()

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._colours = colours
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Paint the shape."""
        painter = QPainter(self)
        paint_state(painter, QRectF(self.rect()), self._state, self._colours)


class StateBadge(QWidget):
    """A state as a small shape and a word; the word may be another than the state's own."""

    def __init__(
        self,
        state: State,
        colours: Colours,
        *,
        word: str | None = None,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._shape = StateShape(state, colours, parent=self)
        self._word = ElidedLabel(parent=self)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(GAP - 2)
        row.addWidget(self._shape)
        row.addWidget(self._word, 1)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        self.set_state(state, word)

    @property
    def state(self) -> State:
        """What is shown."""
        return self._shape.state

    @property
    def word(self) -> str:
        """The word beside the shape."""
        return self._word.text()

    def set_state(self, state: State, word: str | None = None) -> None:
        """Show another state; without a word, in the state's own."""
        said = state.value if word is None else word
        self._shape.set_state(state)
        self._word.setText(said)
        if self.accessibleName() != said:
            self.setAccessibleName(said)

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._shape.use_colours(colours)


class Rule(QWidget):
    """A thin line between things that do not belong together."""

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._colours = colours
        self.setFixedHeight(1)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._colours = colours
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Paint the line."""
        QPainter(self).fillRect(self.rect(), QColor(self._colours.line))
