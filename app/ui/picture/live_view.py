"""The live picture: frames painted as they lie in memory, with the overlay on top."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QImage,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QResizeEvent,
    QWheelEvent,
)
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.ui.look.colours import Colours
from app.ui.picture.ink import (
    MARGIN_PX,
    axes_reach,
    paint_axes,
    paint_overlay,
    paint_scale_bar,
)
from app.ui.picture.overlay import Overlay, is_stale, overlay_of
from app.ui.picture.panels import (
    PILL_PX,
    STRIP_PX,
    paint_in_place,
    paint_pill,
    paint_progress,
    paint_strip,
)
from app.ui.picture.transform import PointWidget, ViewTransform
from app.ui.picture.words import Captions, captions_of, picture_description, readout
from app.ui.state import DeskState
from app.wiring.glance import Shown
from vision.geometry import PointMm, PointPx
from vision.pixel_scale import PixelScale

ZOOM_STEP = 1.25
"""One click of the wheel, or one press of the key."""

NARROW_PX, CORNERS_PX = 520.0, 66.0
"""Below this width the readout stands above what is in the lower corners, which is so high."""

NO_PICTURE = "No picture has come from the camera yet."


class LiveView(QWidget):
    """Shows the newest frame, what the finder made of it, and how the camera is doing.

    Nothing is converted here: a frame comes as Qt paints it, and its array is held as
    long as the image that points into it.
    """

    wanted = Signal(object)
    """As every part of the window has it; looking at a picture wants nothing."""

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._colours = colours
        self._shown: Shown | None = None
        self._bgra: NDArray[np.uint8] | None = None
        self._image: QImage | None = None
        self._grey: QImage | None = None
        self._state: DeskState | None = None
        self._view: ViewTransform | None = None
        self._overlay = Overlay()
        self._laid_out: tuple[object, ...] = ()
        self._captions = Captions()
        self._pointer: QPointF | None = None
        self._grip: QPointF | None = None
        self.setObjectName("live_view")
        self.setAccessibleName("Live picture")
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setMouseTracking(True)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumSize(240, 180)

    # what is shown

    def show_picture(self, shown: Shown) -> None:
        """Show a frame in place of the one before."""
        rows, columns = shown.bgra.shape[:2]
        self._shown, self._grey = shown, None
        # The image first, then the array it points into: the old pair goes together.
        self._image = QImage(
            shown.bgra.data, columns, rows, shown.bgra.strides[0], QImage.Format.Format_RGB32
        )
        self._bgra = shown.bgra
        if self._view is None:
            self._view = self._fitted((columns, rows))
        else:
            self._view = self._view.with_picture((columns, rows))
        self._lay_out()
        self.update()

    def show_state(self, state: DeskState) -> None:
        """Show a state: the overlay and what is written over the picture."""
        self._state = state
        captions = captions_of(state)
        if captions != self._captions:
            self._captions = captions
            self.update()
        self._lay_out()
        description = picture_description(state)
        if description != self.accessibleDescription():
            self.setAccessibleDescription(description)

    def use_colours(self, colours: Colours) -> None:
        """Take other colours."""
        self._colours = colours
        self.update()

    @property
    def view(self) -> ViewTransform | None:
        """Where the picture lies; None before the first."""
        return self._view

    @property
    def shown(self) -> Shown | None:
        """The frame that is shown; None before the first."""
        return self._shown

    @property
    def overlay(self) -> Overlay:
        """What is drawn over the picture."""
        return self._overlay

    @property
    def readout_words(self) -> str:
        """What is written of the point under the pointer; empty when it is not on the picture."""
        if self._pointer is None or self._view is None:
            return ""
        pixel = self._view.to_picture(PointWidget(self._pointer.x(), self._pointer.y()))
        if not self._view.holds(pixel):
            return ""
        return readout(pixel, self._from_target_mm(pixel))

    # zoom and pan

    def zoom_in(self) -> None:
        """Show the picture larger, about its middle."""
        self._zoom(ZOOM_STEP, self._middle())

    def zoom_out(self) -> None:
        """Show the picture smaller, about its middle."""
        self._zoom(1.0 / ZOOM_STEP, self._middle())

    def zoom_fit(self) -> None:
        """Show the whole picture."""
        if self._view is not None:
            self._look(self._view.whole())

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Zoom about the pointer; a touchpad's small turns zoom by as much less."""
        clicks = event.angleDelta().y() / 120.0
        at = event.position()
        self._zoom(ZOOM_STEP**clicks, PointWidget(at.x(), at.y()))
        event.accept()

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Take hold of the picture with the left or the middle button."""
        if event.button() in (Qt.MouseButton.LeftButton, Qt.MouseButton.MiddleButton):
            self._grip = event.position()
            self._choose_cursor()

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Draw the picture along, and read out what is under the pointer."""
        at = event.position()
        if self._grip is not None and self._view is not None:
            moved = at - self._grip
            self._grip = at
            self._look(self._view.panned(moved.x(), moved.y()))
        self._pointer = at
        self.update()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Let go of the picture."""
        if event.button() in (Qt.MouseButton.LeftButton, Qt.MouseButton.MiddleButton):
            self._grip = None
            self._choose_cursor()

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        """Show the whole picture."""
        if event.button() is Qt.MouseButton.LeftButton:
            self.zoom_fit()

    def leaveEvent(self, event: QEvent) -> None:
        """Take the readout away."""
        self._pointer = None
        self.update()
        super().leaveEvent(event)

    # Qt's own

    def sizeHint(self) -> QSize:
        """Return the size of a small camera's picture."""
        return QSize(640, 480)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Keep the view on another size."""
        super().resizeEvent(event)
        self._fit_to_widget()

    def event(self, event: QEvent) -> bool:
        """Keep the view on a screen of another density."""
        if event.type() is QEvent.Type.DevicePixelRatioChange:
            self._fit_to_widget()
        return super().event(event)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint surround, picture, overlay, words."""
        painter = QPainter(self)
        self._paint_picture(painter)
        paint_overlay(painter, self._overlay, self._colours)
        self._paint_corners(painter)
        self._paint_words(painter)
        painter.end()

    # painting

    def _paint_picture(self, painter: QPainter) -> None:
        surround = QColor(self._colours.surround)
        if self._image is None or self._view is None:
            painter.fillRect(self.rect(), surround)
            return
        frame = self._view.frame()
        place = QRectF(frame.left, frame.top, frame.width, frame.height)
        if not place.contains(QRectF(self.rect())) or self._captions.is_lost:
            painter.fillRect(self.rect(), surround)
        smooth = not self._view.shows_single_pixels
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform, smooth)
        if self._captions.is_lost:
            painter.setOpacity(0.4)
            painter.drawImage(place, self._last_in_grey(self._image))
            painter.setOpacity(1.0)
        else:
            painter.drawImage(place, self._image)

    def _paint_corners(self, painter: QPainter) -> None:
        low = self.height() - MARGIN_PX - STRIP_PX
        if self._overlay.axes:
            left, below = axes_reach(self._overlay.axes)
            origin = QPointF(MARGIN_PX + left, low - below)
            paint_axes(painter, self._overlay.axes, origin, self._colours)
        if self._overlay.scale_bar is not None:
            end = QPointF(self.width() - MARGIN_PX, low - 6.0)
            paint_scale_bar(painter, self._overlay.scale_bar, end, self._colours)

    def _paint_words(self, painter: QPainter) -> None:
        captions, colours, area = self._captions, self._colours, QRectF(self.rect())
        top = MARGIN_PX - 4.0
        if captions.sentence and not captions.is_lost and self._image is not None:
            top += paint_strip(painter, area.width(), captions.sentence, colours)
        if captions.is_simulated:
            paint_pill(painter, QPointF(MARGIN_PX - 4.0, top), "simulated", colours)
        if captions.age is not None and self._image is not None:
            paint_pill(
                painter,
                QPointF(area.width() - MARGIN_PX + 4.0, top),
                captions.age.words,
                colours,
                grade=captions.age.grade,
                anchor=Qt.AlignmentFlag.AlignRight,
            )
        if captions.is_lost or self._image is None:
            paint_in_place(painter, area, captions.sentence or NO_PICTURE, colours)
        low = area.height() - STRIP_PX - 6.0
        if area.width() < NARROW_PX:
            low -= CORNERS_PX
        if captions.burst is not None:
            low = paint_progress(painter, area, captions.burst, colours).top() - 6.0
        if words := self.readout_words:
            paint_pill(
                painter,
                QPointF(area.center().x(), low - PILL_PX),
                words,
                colours,
                anchor=Qt.AlignmentFlag.AlignHCenter,
            )

    def _last_in_grey(self, image: QImage) -> QImage:
        """Return the last picture without colour: made once, when the camera was lost."""
        if self._grey is None:
            self._grey = image.convertToFormat(QImage.Format.Format_Grayscale8)
        return self._grey

    # the view

    def _fitted(self, picture_px: tuple[int, int]) -> ViewTransform:
        return ViewTransform.fitted(
            picture_px, self._widget_px(), pixel_ratio=self.devicePixelRatioF()
        )

    def _widget_px(self) -> tuple[float, float]:
        return max(self.width(), 1), max(self.height(), 1)

    def _middle(self) -> PointWidget:
        return PointWidget(self.width() / 2.0, self.height() / 2.0)

    def _fit_to_widget(self) -> None:
        if self._view is not None:
            ratio = self.devicePixelRatioF()
            self._look(self._view.resized(self._widget_px(), pixel_ratio=ratio))

    def _zoom(self, factor: float, about: PointWidget) -> None:
        if self._view is not None:
            self._look(self._view.zoomed(factor, about))

    def _look(self, view: ViewTransform) -> None:
        if view == self._view:
            return
        self._view = view
        self._lay_out()
        self._choose_cursor()
        self.update()

    def _choose_cursor(self) -> None:
        if self._view is None or self._view.is_whole:
            self.unsetCursor()
        elif self._grip is not None:
            self.setCursor(Qt.CursorShape.ClosedHandCursor)
        else:
            self.setCursor(Qt.CursorShape.OpenHandCursor)

    def _lay_out(self) -> None:
        if self._state is None or self._view is None:
            return
        state, stale = self._state, is_stale(self._state.glance, self._shown)
        # Most frames change nothing of this: the finder answers more seldom than they come.
        laid = (state.glance, state.fix, state.snapshot, state.camera.state, self._view, stale)
        if self._laid_out and all(
            new is old for new, old in zip(laid, self._laid_out, strict=True)
        ):
            return
        self._laid_out = laid
        overlay = overlay_of(state, self._view, is_stale=stale)
        if overlay != self._overlay:
            self._overlay = overlay
            self.update()

    def _from_target_mm(self, pixel: PointPx) -> PointMm | None:
        if self._state is None or self._state.snapshot.target_px is None:
            return None
        scale, target = self._state.snapshot.scale, self._state.snapshot.target_px
        if not isinstance(scale, PixelScale):
            return None
        return scale.to_mm(PointPx(pixel.u - target.u, pixel.v - target.v))
