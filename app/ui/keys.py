"""Every action of the window and its key, in one table, so that what is shown is true."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Key:
    """An action's key.

    Attributes
    ----------
    sequence
        In Qt's portable text, such as "Ctrl+Z".
    shown
        As it stands on a button.
    words
        What it does, for the page of keys (F1).
    """

    sequence: str
    shown: str
    words: str


PROCEED = Key("Space", "Space", "do what the sentence asks for: tick, sight, take")
STOP = Key("Esc", "Esc", "stop what is under way, close what is open")
UNDO = Key("Ctrl+Z", "Ctrl+Z", "take the last thing back")
STRIKE = Key("Del", "Del", "strike the last sighting out")
SAME = Key("=", "=", "the head stands where the reference was sighted: fill that in")
JOGGED = Key("J", "J", "the jogs asked for were made: fill the position in")
TAKE = Key("P", "P", "take the position that the picture suggests")
PLUS = Key("L", "L", "whether the last jogs of X and Y were a plus")
YES = Key("Y", "Y", "yes, to a question")
NO = Key("N", "N", "no, to a question")
AUTOMATIC = Key("A", "A", "sight by itself once the picture is steady")
SPEECH = Key("V", "V", "say the correction aloud")
TONE = Key("T", "T", "beep the faster the closer the bore is")
MOVED = Key("Ctrl+M", "Ctrl+M", "the camera was moved or refocused")
COPY = Key("Ctrl+C", "Ctrl+C", "copy the text of the result")
SAVE = Key("Ctrl+S", "Ctrl+S", "save the result to a file")
READ = Key("R", "R", "the warnings of the result were read")
ZOOM_IN = Key("Ctrl++", "Ctrl++", "picture larger (or turn the wheel)")
ZOOM_OUT = Key("Ctrl+-", "Ctrl+-", "picture smaller")
ZOOM_FIT = Key("Ctrl+0", "Ctrl+0", "whole picture")
CARD = Key("Alt+1", "Alt+1 ... 9", "open a card: the pixel scale, then the tools")
HANDSET = Key("B", "B", "show or hide the bench's own panel")
LOOKS = Key("Ctrl+D", "Ctrl+D", "light, dark, or as the system has it")
START = Key("Ctrl+O", "Ctrl+O", "leave the run as it is and go to the start page")
HELP = Key("F1", "F1", "this page of keys")
QUIT = Key("Ctrl+Q", "Ctrl+Q", "end the program; the run is kept")

ALL = (
    PROCEED,
    STOP,
    UNDO,
    STRIKE,
    SAME,
    JOGGED,
    TAKE,
    PLUS,
    YES,
    NO,
    AUTOMATIC,
    SPEECH,
    TONE,
    MOVED,
    COPY,
    SAVE,
    READ,
    ZOOM_IN,
    ZOOM_OUT,
    ZOOM_FIT,
    CARD,
    HANDSET,
    LOOKS,
    START,
    HELP,
    QUIT,
)
