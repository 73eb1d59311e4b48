"""Words at 4.5 : 1 and shapes at 3 : 1, in both looks.

Source: W3C, Web Content Accessibility Guidelines 2.1, success criteria 1.4.3 (contrast,
minimum) and 1.4.11 (non-text contrast).
"""

from __future__ import annotations

import re

import pytest

from app.ui.look.colours import (
    BLUE,
    BLUISH_GREEN,
    DARK,
    LIGHT,
    ORANGE,
    SKY_BLUE,
    VERMILLION,
    Colours,
    contrast,
)
from app.ui.look.style import style_sheet

WORDS, SHAPES = 4.5, 3.0
GROUNDS = ("ground", "surface", "raised")
LOOKS = pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])


def ratio(colours: Colours, one: str, other: str) -> float:
    return contrast(getattr(colours, one), getattr(colours, other))


def rule(colours: Colours, selector: str) -> str:
    found = re.search(re.escape(selector) + r"[^{}]*\{([^}]*)\}", style_sheet(colours))
    assert found is not None, selector
    return found[1]


def test_contrast_is_that_of_the_guidelines() -> None:
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)
    assert contrast("#777777", "#FFFFFF") == pytest.approx(4.48, abs=0.005)
    assert contrast("#FFFFFF", "#777777") == contrast("#777777", "#FFFFFF")


@LOOKS
@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize("ink", ["text", "muted"])
def test_words_are_read_on_every_ground(colours: Colours, ink: str, ground: str) -> None:
    assert ratio(colours, ink, ground) >= WORDS


@LOOKS
@pytest.mark.parametrize(
    ("ink", "fill"),
    [
        ("on_accent", "accent"),
        ("on_accent", "accent_down"),
        ("accent", "on_accent"),
        ("on_good", "good"),
        ("on_warn", "warn"),
        ("on_bad", "bad"),
        ("on_surround", "surround"),
        ("text", "line"),
    ],
)
def test_words_are_read_on_their_fill(colours: Colours, ink: str, fill: str) -> None:
    assert ratio(colours, ink, fill) >= WORDS


@LOOKS
@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize("shape", ["outline", "accent", "good", "warn", "bad", "text", "muted"])
def test_shapes_and_outlines_stand_off_their_ground(
    colours: Colours, shape: str, ground: str
) -> None:
    assert ratio(colours, shape, ground) >= SHAPES


@LOOKS
@pytest.mark.parametrize("shape", ["rim", "target", "arrow", "axis"])
def test_lines_over_the_picture_stand_off_its_surround(colours: Colours, shape: str) -> None:
    assert ratio(colours, shape, "surround") >= SHAPES


@LOOKS
@pytest.mark.parametrize(
    "selector", ['QLabel[look="muted"]', 'QLabel[look="small"]', "QPushButton:disabled"]
)
def test_lesser_words_are_written_in_the_muted_ink(colours: Colours, selector: str) -> None:
    assert f"color: {colours.muted}" in rule(colours, selector)


@LOOKS
def test_every_colour_of_the_style_sheet_is_one_of_the_set(colours: Colours) -> None:
    known = {str(getattr(colours, name)) for name in colours.__slots__}

    assert set(re.findall(r"#[0-9A-Fa-f]{6}", style_sheet(colours))) <= known


@LOOKS
@pytest.mark.parametrize(
    ("name", "of"),
    [("good", BLUISH_GREEN), ("warn", ORANGE), ("bad", VERMILLION)],
)
def test_signal_colours_keep_their_hue(colours: Colours, name: str, of: str) -> None:
    assert hue_deg(getattr(colours, name)) == pytest.approx(hue_deg(of), abs=4.0)


def test_the_accent_keeps_a_hue_of_the_set() -> None:
    assert hue_deg(LIGHT.accent) == pytest.approx(hue_deg(BLUE), abs=3.0)
    assert DARK.accent == SKY_BLUE


def hue_deg(colour: str) -> float:
    import colorsys

    red, green, blue = (int(colour[at : at + 2], 16) / 255.0 for at in (1, 3, 5))
    return 360.0 * colorsys.rgb_to_hsv(red, green, blue)[0]
