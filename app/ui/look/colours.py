"""The colours of the window, light and dark, and how far apart two colours are.

Signal colours are those of Okabe & Ito 2008 ("Color Universal Design"), which people
with any common colour blindness can tell apart. They fill shapes and lines; words are
always written in `text`, `muted` or the ink that goes with a fill, and no state is told
by colour alone. Where a shape has to stand on light ground, its hue is kept and darkened
until it is seen at 3 : 1.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

BLACK = "#000000"
ORANGE = "#E69F00"
SKY_BLUE = "#56B4E9"
BLUISH_GREEN = "#009E73"
YELLOW = "#F0E442"
BLUE = "#0072B2"
VERMILLION = "#D55E00"
REDDISH_PURPLE = "#CC79A7"


class Appearance(StrEnum):
    """What the person chose: as the system has it, or forced."""

    SYSTEM = "system"
    LIGHT = "light"
    DARK = "dark"


@dataclass(frozen=True, slots=True, kw_only=True)
class Colours:
    """One set of colours, as ``#rrggbb``.

    Attributes
    ----------
    is_dark
        Whether light ink stands on dark ground.
    ground, surface, raised
        Behind everything; cards and panels; fields, and what lies on a panel.
    line
        Borders that carry no meaning.
    outline
        Borders of fields and buttons, which have to be seen.
    text, muted
        Words; words of less weight. Both readable on the three grounds.
    accent, accent_down, on_accent
        The one thing to do next, the same while it is pressed, and the ink on both.
    good, warn, bad
        Fills of state shapes.
    on_good, on_warn, on_bad
        Ink on these fills.
    surround
        Round the live picture: dark in both sets, so that the picture is judged alike.
    on_surround
        Ink on `surround`.
    rim, target, arrow, axis
        Lines over the picture, each drawn with a dark outline.
    """

    is_dark: bool
    ground: str
    surface: str
    raised: str
    line: str
    outline: str
    text: str
    muted: str
    accent: str
    accent_down: str
    on_accent: str
    good: str
    warn: str
    bad: str
    on_good: str
    on_warn: str
    on_bad: str
    surround: str = "#0B0F13"
    on_surround: str = "#E6EDF3"
    rim: str = SKY_BLUE
    target: str = ORANGE
    arrow: str = YELLOW
    axis: str = "#FFFFFF"


LIGHT = Colours(
    is_dark=False,
    ground="#E9EDF1",
    surface="#FFFFFF",
    raised="#F4F6F8",
    line="#D2D9E0",
    outline="#6B7885",
    text="#17202A",
    muted="#4A5764",
    accent="#006CA9",
    accent_down="#00517F",
    on_accent="#FFFFFF",
    good="#00916A",
    warn="#AF7900",
    bad=VERMILLION,
    on_good="#000000",
    on_warn="#000000",
    on_bad="#000000",
)

DARK = Colours(
    is_dark=True,
    ground="#12171D",
    surface="#1B222A",
    raised="#252E38",
    line="#303B47",
    outline="#7F8E9D",
    text="#E8EEF4",
    muted="#A9B7C4",
    accent=SKY_BLUE,
    accent_down="#8FCEF2",
    on_accent="#08131C",
    good="#1FB58A",
    warn=ORANGE,
    bad="#F07D1F",
    on_good="#000000",
    on_warn="#000000",
    on_bad="#000000",
)


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours, 1 to 21.

    References
    ----------
    W3C, Web Content Accessibility Guidelines 2.1, "contrast ratio" and "relative
    luminance".
    """
    brighter, darker = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (brighter + 0.05) / (darker + 0.05)


def _luminance(colour: str) -> float:
    channels = (int(colour[at : at + 2], 16) / 255.0 for at in (1, 3, 5))
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
