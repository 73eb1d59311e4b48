"""Puts a set of colours on: Qt's palette, the style sheet, the type."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QFont, QFontDatabase, QPalette
from PySide6.QtWidgets import QApplication

from app.ui.look.colours import DARK, LIGHT, Appearance, Colours

BASE_PX = 14
"""Height of running text."""

SMALL_PX = 12
TITLE_PX = 17
SENTENCE_PX = 19
"""The one sentence that says what comes next: readable at arm's length."""

FIGURE_HEIGHT_PX = 48
"""Height of a digit of the correction, from foot to head: readable from two metres."""

GAP = 8
"""Between things that belong together; twice as much between those that do not."""

RADIUS = 6


def colours_for(appearance: Appearance, application: QApplication) -> Colours:
    """Return the set of colours that was chosen, or that the system asks for."""
    if appearance is Appearance.SYSTEM:
        dark = application.styleHints().colorScheme() is Qt.ColorScheme.Dark
        return DARK if dark else LIGHT
    return DARK if appearance is Appearance.DARK else LIGHT


def dress(application: QApplication, colours: Colours) -> None:
    """Give the whole application these colours, this type and this style."""
    application.setStyle("Fusion")
    application.setFont(text_font())
    application.setPalette(palette(colours))
    application.setStyleSheet(style_sheet(colours))


def text_font(size_px: int = BASE_PX, *, bold: bool = False) -> QFont:
    """Return the system's font for running text in a height of our own."""
    font = QFontDatabase.systemFont(QFontDatabase.SystemFont.GeneralFont)
    font.setPixelSize(size_px)
    font.setBold(bold)
    return font


def figure_font(size_px: int, *, bold: bool = True) -> QFont:
    """Return the font for numbers: all digits of one width, so that they do not dance."""
    font = text_font(size_px, bold=bold)
    font.setStyleHint(QFont.StyleHint.SansSerif)
    if hasattr(QFont, "Tag"):
        font.setFeature(QFont.Tag("tnum"), 1)
    return font


def palette(colours: Colours) -> QPalette:
    """Return Qt's palette of a set of colours."""
    made = QPalette()
    role = QPalette.ColorRole
    for which, value in (
        (role.Window, colours.ground),
        (role.WindowText, colours.text),
        (role.Base, colours.raised),
        (role.AlternateBase, colours.surface),
        (role.Text, colours.text),
        (role.Button, colours.raised),
        (role.ButtonText, colours.text),
        (role.BrightText, colours.text),
        (role.ToolTipBase, colours.raised),
        (role.ToolTipText, colours.text),
        (role.PlaceholderText, colours.muted),
        (role.Highlight, colours.accent),
        (role.HighlightedText, colours.on_accent),
        (role.Link, colours.accent),
    ):
        made.setColor(which, QColor(value))
    for which in (role.WindowText, role.Text, role.ButtonText):
        made.setColor(QPalette.ColorGroup.Disabled, which, QColor(colours.muted))
    return made


def style_sheet(colours: Colours) -> str:
    """Return the style sheet of a set of colours.

    Parts choose their look by the dynamic property ``look``: ``card``, ``panel``,
    ``title``, ``sentence``, ``muted``, ``small``, ``primary``, ``quiet``, ``field``,
    ``doubtful``, ``handset``.
    """
    c = colours
    return f"""
    QWidget {{ color: {c.text}; }}
    QMainWindow, QDialog {{ background: {c.ground}; }}
    QToolTip {{ background: {c.raised}; color: {c.text}; border: 1px solid {c.outline};
                padding: 4px; }}
    *[look="panel"], *[look="card"] {{ background: {c.surface}; border: 1px solid {c.line};
                border-radius: {RADIUS}px; }}
    QLabel {{ background: transparent; border: none; }}
    QLabel[look="title"] {{ font-size: {TITLE_PX}px; font-weight: 600; }}
    QLabel[look="sentence"] {{ font-size: {SENTENCE_PX}px; font-weight: 600; }}
    QLabel[look="muted"] {{ color: {c.muted}; }}
    QLabel[look="small"] {{ color: {c.muted}; font-size: {SMALL_PX}px; }}
    QPushButton, QToolButton {{ background: {c.raised}; border: 1px solid {c.outline};
                border-radius: {RADIUS}px; padding: 6px 12px; min-height: 20px; }}
    QPushButton:hover, QToolButton:hover {{ border-color: {c.accent}; }}
    QPushButton:pressed, QToolButton:pressed {{ background: {c.line}; }}
    QPushButton:focus, QToolButton:focus {{ border: 2px solid {c.accent}; padding: 5px 11px; }}
    QPushButton:disabled, QToolButton:disabled {{ color: {c.muted}; border-color: {c.line}; }}
    QPushButton:checked, QToolButton:checked {{ background: {c.accent}; color: {c.on_accent};
                border-color: {c.accent}; }}
    QPushButton[look="primary"] {{ background: {c.accent}; color: {c.on_accent};
                border-color: {c.accent}; font-size: {TITLE_PX}px; font-weight: 600;
                padding: 10px 16px; }}
    QPushButton[look="primary"]:focus {{ border: 2px solid {c.text}; padding: 9px 15px; }}
    QPushButton[look="primary"]:pressed {{ background: {c.accent_down};
                border-color: {c.accent_down}; }}
    QPushButton[look="primary"]:disabled {{ background: {c.raised}; color: {c.muted};
                border-color: {c.line}; }}
    QPushButton[look="quiet"], QToolButton[look="quiet"] {{ background: transparent;
                border-color: transparent; }}
    QPushButton[look="quiet"]:hover, QToolButton[look="quiet"]:hover {{
                border-color: {c.outline}; }}
    QPushButton[look="quiet"]:pressed, QToolButton[look="quiet"]:pressed {{
                background: {c.line}; }}
    QPushButton[look="quiet"]:checked, QToolButton[look="quiet"]:checked {{
                background: {c.accent}; border-color: {c.accent}; }}
    QPushButton[look="quiet"]:focus, QToolButton[look="quiet"]:focus {{
                border: 2px solid {c.accent}; }}
    QLineEdit, QComboBox, QSpinBox, QPlainTextEdit {{ background: {c.raised};
                border: 1px solid {c.outline}; border-radius: {RADIUS}px; padding: 5px 8px;
                selection-background-color: {c.accent}; selection-color: {c.on_accent}; }}
    QLineEdit:focus, QComboBox:focus, QSpinBox:focus, QPlainTextEdit:focus {{
                border: 2px solid {c.accent}; padding: 4px 7px; }}
    QLineEdit[look="doubtful"] {{ border: 2px solid {c.warn}; padding: 4px 7px; }}
    QComboBox QAbstractItemView {{ background: {c.raised}; border: 1px solid {c.outline};
                selection-background-color: {c.accent}; selection-color: {c.on_accent}; }}
    QListWidget, QTableWidget, QTableView {{ background: {c.surface};
                border: 1px solid {c.line}; gridline-color: {c.line};
                alternate-background-color: {c.raised};
                selection-background-color: {c.accent}; selection-color: {c.on_accent}; }}
    QListWidget:focus, QTableWidget:focus, QTableView:focus {{ border: 2px solid {c.accent}; }}
    QHeaderView::section {{ background: {c.surface}; color: {c.muted}; border: none;
                border-bottom: 1px solid {c.line}; padding: 4px 6px; }}
    QScrollArea, QScrollArea > QWidget > QWidget {{ background: transparent; border: none; }}
    QScrollBar:vertical {{ background: transparent; width: 10px; }}
    QScrollBar:horizontal {{ background: transparent; height: 10px; }}
    QScrollBar::handle {{ background: {c.outline}; border-radius: 4px; min-height: 24px;
                min-width: 24px; }}
    QScrollBar::add-line, QScrollBar::sub-line {{ width: 0; height: 0; }}
    QCheckBox, QRadioButton {{ spacing: 8px; background: transparent; }}
    QCheckBox:focus, QRadioButton:focus {{ color: {c.text}; }}
    QMenu {{ background: {c.raised}; border: 1px solid {c.outline}; padding: 4px; }}
    QMenu::item {{ padding: 5px 18px; }}
    QMenu::item:selected {{ background: {c.accent}; color: {c.on_accent}; }}
    QMenu::item:disabled {{ color: {c.muted}; }}
    """
