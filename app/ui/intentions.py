"""What a person wants: emitted by the parts of the window, carried out by the desk.

A part never changes a run by itself. It emits one of these through its signal
``wanted``, and is rendered again when the state has changed.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from app.job.by_hand import Typed
from app.job.facts import Position


@dataclass(frozen=True, slots=True)
class Proceed:
    """Do the one thing that the run sheet asks for now: the big button, or Space.

    Ticks the next item of the preparation, takes a sighting, says that the machine was
    homed, takes the offsets, says that the next tool's offset was entered.
    """


@dataclass(frozen=True, slots=True)
class Stop:
    """Stop what is under way."""


@dataclass(frozen=True, slots=True)
class Undo:
    """Take the last thing back."""


@dataclass(frozen=True, slots=True)
class StrikeLast:
    """Strike the last sighting out."""


@dataclass(frozen=True, slots=True)
class StrikeOut:
    """Strike out the entry with this number."""

    number: int


@dataclass(frozen=True, slots=True)
class Restore:
    """Let the struck entry with this number count again."""

    number: int


@dataclass(frozen=True, slots=True)
class Retype:
    """The position of this entry was mistyped; this is the right one."""

    number: int
    position: Position


@dataclass(frozen=True, slots=True)
class Tick:
    """Tick an item of the preparation, or take the tick back."""

    item: str
    on: bool


@dataclass(frozen=True, slots=True)
class TypedPlace:
    """The fields of the position were edited."""

    typed: Typed


@dataclass(frozen=True, slots=True)
class SameAsReference:
    """Fill in what the display showed at the reference tool."""


@dataclass(frozen=True, slots=True)
class JogsMade:
    """The jogs that were asked for were made: fill in where that leads."""


@dataclass(frozen=True, slots=True)
class TakePictures:
    """Fill in the position that the picture suggests."""


@dataclass(frozen=True, slots=True)
class AnswerMirror:
    """Whether the picture is mirrored (and no axis was entered with the wrong sign)."""

    mirrored: bool


@dataclass(frozen=True, slots=True)
class CameraWasMoved:
    """The camera was moved, refocused or zoomed: begin again with it."""

    why: str


@dataclass(frozen=True, slots=True)
class SetAutomatic:
    """Take sightings without a key once the picture is steady, or not."""

    on: bool


@dataclass(frozen=True, slots=True)
class SetSpeech:
    """Say the correction aloud, or not."""

    on: bool


@dataclass(frozen=True, slots=True)
class SetTone:
    """Beep the faster the closer the bore is to the target, or not."""

    on: bool


@dataclass(frozen=True, slots=True)
class OpenCard:
    """Show what a card holds; None closes it.

    ``key`` is "scale", or the number of a tool as text.
    """

    key: str | None


@dataclass(frozen=True, slots=True)
class Acknowledge:
    """The warnings of the result were read."""


@dataclass(frozen=True, slots=True)
class CopyText:
    """Put a text of the result on the clipboard: "all", "settings" or "moves"."""

    part: str = "all"


class FileKind(StrEnum):
    """What a result can be saved as."""

    TEXT = "text"
    CSV = "csv"
    JSON = "json"


@dataclass(frozen=True, slots=True)
class SaveAs:
    """Save the result to a file.

    ``path`` is a file, or a folder for a file named after machine and day.
    """

    kind: FileKind
    path: str


@dataclass(frozen=True, slots=True)
class SayEntered:
    """The new offset of this tool was entered in the machine."""

    tool: int


@dataclass(frozen=True, slots=True)
class ToStart:
    """Leave this run as it is and go to the start page."""


Intention = (
    Proceed
    | Stop
    | Undo
    | StrikeLast
    | StrikeOut
    | Restore
    | Retype
    | Tick
    | TypedPlace
    | SameAsReference
    | JogsMade
    | TakePictures
    | AnswerMirror
    | CameraWasMoved
    | SetAutomatic
    | SetSpeech
    | SetTone
    | OpenCard
    | Acknowledge
    | CopyText
    | SaveAs
    | SayEntered
    | ToStart
)
