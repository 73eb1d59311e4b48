"""Controls of the start page, each with a name, a name for people and a tooltip."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFileDialog, QLineEdit, QPushButton


def button(name: str, text: str, tip: str) -> QPushButton:
    """Return a plain button."""
    made = QPushButton(text)
    made.setObjectName(name)
    made.setAccessibleName(text)
    made.setToolTip(tip)
    return made


def line_edit(name: str, accessible: str, tip: str, placeholder: str = "") -> QLineEdit:
    """Return a field for a line of text."""
    made = QLineEdit()
    made.setObjectName(name)
    made.setAccessibleName(accessible)
    made.setToolTip(tip)
    made.setPlaceholderText(placeholder)
    return made


def browse(field: QLineEdit, title: str, kinds: str = "", *, folder: bool = False) -> QFileDialog:
    """Open a window beside this one that fills a field with a path; nothing waits for it."""
    dialog = QFileDialog(field.window(), title, field.text().strip(), kinds)
    dialog.setObjectName("browse")
    dialog.setModal(False)
    mode = QFileDialog.FileMode.Directory if folder else QFileDialog.FileMode.ExistingFile
    dialog.setFileMode(mode)
    dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
    dialog.fileSelected.connect(field.setText)
    dialog.show()
    return dialog
