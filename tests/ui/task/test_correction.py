from __future__ import annotations

from dataclasses import replace

import pytest
from PySide6.QtCore import QRectF
from PySide6.QtGui import QFontMetricsF
from PySide6.QtWidgets import QLabel, QVBoxLayout, QWidget
from pytestqt.qtbot import QtBot

from app.job.facts import Approach
from app.job.jogs import plan_jog
from app.job.live import Correction
from app.ui.look.colours import DARK, LIGHT, Colours
from app.ui.state import DeskState
from app.ui.task.correction import CorrectionPanel
from app.ui.task.correction_words import (
    AxisLine,
    correction_words,
    off_words,
    read_aloud,
    spoken,
)
from app.ui.task.figures import Figures, fit_lines, font_for_digits
from tests.ui.states import STATES
from vision.geometry import PointMm

INNER_300_PX = 276.0
"""What the narrowest column leaves between its margins."""


def jogging(x_mm: float, y_mm: float, *, step_mm: float = 0.01, base: str = "tool") -> DeskState:
    """Return a state that asks for a step, on a display with this last digit."""
    state = STATES[base]()
    run = state.snapshot.run
    profile = replace(run.profile, display_step_mm=step_mm)
    run = replace(run, started=replace(run.started, profile=profile))
    jog = PointMm(x_mm, y_mm)
    plan = plan_jog(jog, display_step_mm=step_mm, arrived=Approach(1, 1))
    fix = state.fix
    assert isinstance(fix, Correction)
    return replace(
        state,
        snapshot=replace(state.snapshot, run=run),
        plan=plan,
        fix=replace(fix, jog_mm=jog, plan=plan, expanded_mm=PointMm(0.0051, 0.0032)),
    )


def test_jogs_are_told_with_the_decimals_of_the_display() -> None:
    assert correction_words(jogging(0.344, -0.118)).lines == (
        AxisLine(axis="X", first="+0.34", then=""),
        AxisLine(axis="Y", first="-0.42", then="+0.30"),
    )
    assert correction_words(jogging(0.344, 0.0, step_mm=0.1)).lines[0].first == "+0.3"


def test_an_axis_that_is_there_has_no_jog() -> None:
    words = correction_words(jogging(0.3, 0.001))

    assert words.lines[1] == AxisLine(axis="Y", first="", then="")
    assert "Y there" in read_aloud(words)


def test_the_larger_uncertainty_is_told_and_rounded_up() -> None:
    assert correction_words(jogging(0.3, 0.2)).certainty == "+-0.006 mm (k = 2)"


@pytest.mark.parametrize(
    ("distance_mm", "said"), [(0.0123, "12 um off"), (0.36, "0.36 mm off"), (2.5, "2.50 mm off")]
)
def test_a_distance_is_told_in_the_unit_that_fits(distance_mm: float, said: str) -> None:
    assert off_words(distance_mm) == said


def test_a_bore_that_is_close_may_be_sighted() -> None:
    assert correction_words(jogging(0.012, 0.0)).distance == "12 um off: near enough to sight"
    assert correction_words(jogging(0.3, 0.4)).distance == "0.50 mm off"


def test_a_part_of_a_rim_gives_about_and_no_uncertainty() -> None:
    words = correction_words(STATES["part of a rim"]())

    assert words.certainty.startswith("about")
    assert words.distance.startswith("about")
    assert "k = 2" not in read_aloud(words)
    assert spoken(STATES["part of a rim"]()).startswith("About X")


def test_jogs_for_the_pixel_scale_say_where_they_lead() -> None:
    words = correction_words(STATES["scale half done"]())

    assert words.lines
    assert words.distance == "to place 4 of 6 for the pixel scale"
    assert words.certainty == ""


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("preparation", "No correction yet: the preparation comes first."),
        ("first place", "No correction yet: the pixel scale is not known."),
        ("mend the scale", "No correction: the pixel scale has to be mended first."),
        ("home first", "No correction yet: tool 1 has to be homed first."),
        ("no bore", "No correction: no bore is in view."),
        ("lost camera", "No correction: the camera gives no picture."),
        ("result", "Nothing to jog: all is sighted."),
    ],
)
def test_without_jogs_a_line_says_why(name: str, said: str) -> None:
    words = correction_words(STATES[name]())

    assert words.quiet == said
    assert words.lines == ()
    assert spoken(STATES[name]()) == ""


def test_speech_is_digit_by_digit() -> None:
    assert (
        spoken(jogging(0.34, -0.12))
        == "X plus 0 point 3 4. Y minus 0 point 4 2, then plus 0 point 3 0."
    )
    assert spoken(jogging(0.0, 0.0)) == "There. Sight it."


def test_digits_are_at_least_48_pixels_high_at_either_column_width(qtbot: QtBot) -> None:
    lines = (AxisLine(axis="X", first="-12.345", then=""), AxisLine(axis="Y", first="", then=""))
    for width_px in (INNER_300_PX, 306.0):
        fit = fit_lines(lines, width_px)
        metrics = QFontMetricsF(font_for_digits(fit.digit_px))

        assert metrics.tightBoundingRect("0").height() >= 48.0
        assert fit.squeeze >= 0.7
        assert fit.letter_px + fit.squeeze * metrics.horizontalAdvance("-12.345") <= width_px + 0.01


@pytest.mark.parametrize("width_px", [INNER_300_PX, 306.0, 500.0, 900.0])
@pytest.mark.parametrize(
    ("first", "then"), [("-0.42", "+0.30"), ("-0.812", "+0.300"), ("-12.645", "+0.300")]
)
def test_the_jog_back_is_never_cut(qtbot: QtBot, width_px: float, first: str, then: str) -> None:
    line = AxisLine(axis="X", first=first, then=then)
    fit = fit_lines((line, line), width_px)
    large = QFontMetricsF(font_for_digits(fit.digit_px)).horizontalAdvance(first)

    assert fit.squeeze >= 0.7
    if fit.then_below[0]:
        assert fit.height_px() > 2 * fit.digit_px + 60.0
    else:
        assert fit.letter_px + fit.squeeze * large < 0.8 * width_px


@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
def test_nothing_is_painted_at_the_right_edge(qtbot: QtBot, colours: Colours) -> None:
    figures = Figures(colours)
    qtbot.addWidget(figures)
    figures.resize(int(INNER_300_PX), 120)
    figures.show_lines(
        (
            AxisLine(axis="X", first="-12.345", then=""),
            AxisLine(axis="Y", first="-0.812", then="+0.300"),
        )
    )
    image = figures.grab().toImage()
    edge = {image.pixel(image.width() - 1, v) for v in range(image.height())}
    middle = {image.pixel(u, 30) for u in range(image.width())}

    assert len(edge) == 1
    assert len(middle) > 2


@pytest.mark.parametrize("name", list(STATES))
@pytest.mark.parametrize("width_px", [300, 330])
def test_every_state_fits_into_the_panel(qtbot: QtBot, name: str, width_px: int) -> None:
    panel = CorrectionPanel(LIGHT)
    qtbot.addWidget(panel)
    panel.show_state(STATES[name]())
    panel.resize(width_px, panel.heightForWidth(width_px))
    panel.show()

    assert_apart(panel)
    assert 180 <= panel.height() <= 200


def test_a_long_way_with_a_jog_back_makes_the_panel_higher(qtbot: QtBot) -> None:
    panel = CorrectionPanel(LIGHT)
    qtbot.addWidget(panel)
    panel.setFixedWidth(300)
    panel.show_state(jogging(-12.345, 0.004, step_mm=0.001))
    panel.show()
    panel.resize(300, panel.heightForWidth(300))

    assert panel.heightForWidth(300) > 200
    assert panel.height() >= panel.heightForWidth(300)
    assert_apart(panel)


def test_the_panel_follows_the_state(qtbot: QtBot) -> None:
    panel = CorrectionPanel(LIGHT)
    qtbot.addWidget(panel)
    panel.show()

    panel.show_state(jogging(0.34, 0.12))
    figures = panel.findChild(Figures)
    assert isinstance(figures, Figures)
    assert figures.isVisible()
    assert figures.accessibleName().startswith("jog X +0.34. jog Y +0.12")
    panel.show_state(STATES["no bore"]())

    assert not figures.isVisible()
    assert visible_texts(panel) == ["No correction: no bore is in view."]


def visible_texts(panel: CorrectionPanel) -> list[str]:
    return [label.text() for label in panel.findChildren(QLabel) if label.isVisible()]


def assert_apart(panel: CorrectionPanel) -> None:
    """Nothing inside overlaps, and nothing sticks out."""
    inside = (*panel.findChildren(Figures), *panel.findChildren(QLabel))
    boxes = [QRectF(w.geometry()) for w in inside if w.isVisible()]
    for i, box in enumerate(boxes):
        assert QRectF(panel.rect()).contains(box)
        assert not any(box.intersects(other) for other in boxes[i + 1 :])


@pytest.mark.parametrize("width_px", [300, 330, 420, 520])
def test_the_panel_grows_with_its_figures_in_a_wide_column(qtbot: QtBot, width_px: int) -> None:
    host = QWidget()
    qtbot.addWidget(host)
    column = QVBoxLayout(host)
    column.setContentsMargins(0, 0, 0, 0)
    panel = CorrectionPanel(DARK, host)
    column.addWidget(panel)
    column.addWidget(QWidget(host), 1)
    host.resize(width_px, 900)
    host.show()
    panel.show_state(STATES["tool"]())
    figures = panel.findChild(Figures)
    assert figures is not None
    qtbot.waitUntil(lambda: figures.height() >= figures.heightForWidth(figures.width()))
