"""The colours of the bench's panel: dark in both looks, so that it is a device of its own."""

from __future__ import annotations

from dataclasses import dataclass

from app.ui.look.colours import Colours
from app.ui.look.style import RADIUS, SMALL_PX


@dataclass(frozen=True, slots=True, kw_only=True)
class Shell:
    """Colours of the panel, as ``#rrggbb``.

    Attributes
    ----------
    display, body, key, knob
        The display's ground, the body, a key on it, the wheel.
    edge
        Round keys and wheel.
    ink, muted
        Words and figures; words of less weight.
    accent, on_accent
        What is chosen, and the ink on it.
    fault
        The bar beside a sentence about a fault.
    """

    display: str
    body: str
    key: str
    knob: str
    edge: str
    ink: str
    muted: str
    accent: str
    on_accent: str
    fault: str


def shell_of(colours: Colours) -> Shell:
    """Return the panel's colours in a set of colours, mixed from its dark surround."""
    dark, light = colours.surround, colours.on_surround
    return Shell(
        display=dark,
        body=mixed(dark, light, 0.14),
        key=mixed(dark, light, 0.22),
        knob=mixed(dark, light, 0.27),
        edge=mixed(dark, light, 0.50),
        ink=light,
        muted=mixed(dark, light, 0.78),
        accent=colours.rim,
        on_accent=dark,
        fault=colours.warn,
    )


def mixed(one: str, other: str, share: float) -> str:
    """Return a colour between two, `share` of the way from the first to the second."""
    parts = (
        round((1.0 - share) * int(one[at : at + 2], 16) + share * int(other[at : at + 2], 16))
        for at in (1, 3, 5)
    )
    return "#" + "".join(f"{part:02X}" for part in parts)


def shell_sheet(shell: Shell) -> str:
    """Return the style sheet of the panel."""
    s = shell
    return f"""
    #handset {{ background: {s.body}; border: none; border-right: 1px solid {s.edge}; }}
    #handset QLabel {{ color: {s.ink}; }}
    #handset QLabel[look="small"] {{ color: {s.muted}; font-size: {SMALL_PX - 1}px; }}
    #handset #handset_display {{ background: {s.display}; border: 1px solid {s.edge};
        border-radius: {RADIUS}px; }}
    #handset #handset_bar {{ background: {s.fault}; border: none; }}
    #handset QPushButton {{ background: {s.key}; color: {s.ink}; border: 1px solid {s.edge};
        border-radius: {RADIUS}px; padding: 3px 2px; min-height: 20px;
        font-size: {SMALL_PX}px; }}
    #handset QPushButton:hover {{ border-color: {s.accent}; }}
    #handset QPushButton:pressed {{ background: {s.display}; }}
    #handset QPushButton:focus {{ border: 2px solid {s.accent}; padding: 2px 1px; }}
    #handset QPushButton:checked {{ background: {s.accent}; color: {s.on_accent};
        border-color: {s.accent}; font-weight: 600; }}
    #handset QPushButton:checked:focus {{ border: 2px solid {s.ink}; }}
    #handset QPushButton:disabled {{ color: {s.edge}; border-color: {s.key}; }}
    """
