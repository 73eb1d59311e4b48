"""The middle of the window: the live picture or the result, and what lies over it."""

from __future__ import annotations

from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QStackedLayout, QWidget

DETAILS_PX = 560
"""Width of an opened card, where there is room for it."""

KEYS_PX = 520


class Centre(QWidget):
    """One of several pages, with panels that may lie over its right side."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._pages = QWidget(self)
        self._stack = QStackedLayout(self._pages)
        self._stack.setContentsMargins(0, 0, 0, 0)
        self._over: list[tuple[QWidget, int]] = []

    def add_page(self, page: QWidget) -> None:
        """Add a page; the first is shown."""
        self._stack.addWidget(page)

    def show_page(self, page: QWidget) -> None:
        """Show a page."""
        if self._stack.currentWidget() is not page:
            self._stack.setCurrentWidget(page)

    def add_over(self, panel: QWidget, width_px: int) -> None:
        """Add a panel that lies over the pages when it is shown."""
        panel.setParent(self)
        panel.hide()
        self._over.append((panel, width_px))
        self._place()

    def show_over(self, panel: QWidget, *, on: bool) -> None:
        """Show or hide a panel; the others are hidden by it."""
        if on == panel.isVisibleTo(self):
            return
        for other, _ in self._over:
            other.setVisible(on and other is panel)
        if on:
            panel.raise_()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Keep the pages whole and the panels at the right."""
        super().resizeEvent(event)
        self._pages.setGeometry(self.rect())
        self._place()

    def _place(self) -> None:
        for panel, wanted_px in self._over:
            width = min(wanted_px, self.width())
            panel.setGeometry(self.width() - width, 0, width, self.height())
