"""The cards are tried in the window's own type and style, which decide what fits."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from PySide6.QtWidgets import QApplication

from app.ui.look.colours import LIGHT
from app.ui.look.style import dress


@pytest.fixture(scope="module")
def dressed(qapp: QApplication) -> Iterator[None]:
    before = qapp.styleSheet(), qapp.font(), qapp.palette(), qapp.style().objectName()
    dress(qapp, LIGHT)
    yield
    qapp.setStyleSheet(before[0])
    qapp.setFont(before[1])
    qapp.setPalette(before[2])
    qapp.setStyle(before[3])
