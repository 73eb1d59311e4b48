"""What a firmware answers, made of lines; pure.

All firmwares end an answer with a line that begins with ``ok``, also after an error
(Marlin ``gcode/queue.cpp``; Klipper ``klippy/gcode.py``; RepRapFirmware
``GCodes/GCodes.cpp`` `HandleReplyPreserveResult`). What failed stands in the lines
before it, and refusals may look like mere remarks (``echo:``).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

_POSITION = re.compile(r"\b([XYZ]):\s*(-?\d+(?:\.\d+)?)")
_COMPLAINT = re.compile(
    r"^(?://\s*)?(?:error\b|!!|resend:|rs\s|unknown command|home \w+ first|.*\binvalid extruder)",
    re.IGNORECASE,
)
_GONE = re.compile(
    r"^(?:start$|error:\s*printer halted|//\s*klipper state:\s*shutdown)", re.IGNORECASE
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reply:
    """The answer to one line.

    Attributes
    ----------
    lines
        What was said, without ``echo:`` and without the ``ok``, in order; text that
        stands on the ok line is the last one.
    complaint
        The first line that says that it was not done, or None.
    """

    lines: tuple[str, ...]
    complaint: str | None

    @property
    def text(self) -> str:
        """All lines as one."""
        return "\n".join(self.lines)


def is_end(line: str) -> bool:
    """Whether a line ends an answer."""
    return re.match(r"ok\b", line) is not None


def is_busy(line: str) -> bool:
    """Whether a line only says that the machine is still at it."""
    return bare(line).startswith("busy:")


def says_gone(line: str) -> bool:
    """Whether a line says that position and homing are gone: a reset or a shutdown."""
    return _GONE.match(line.strip()) is not None


def bare(line: str) -> str:
    """Return a line without the ``echo:`` (there may be several) in front of it.

    >>> bare("echo:echo:  M218 T1 X0.00")
    'M218 T1 X0.00'
    """
    line = line.strip()
    while line.startswith("echo:"):
        line = line.removeprefix("echo:").strip()
    return line


def make_reply(lines: list[str]) -> Reply:
    """Return the answer that these lines are; the last one is the ``ok``."""
    said = [bare(line) for line in lines[:-1] if not is_busy(line)]
    rest = re.sub(r"^ok\b:?\s*", "", lines[-1].strip())
    if rest:
        said.append(rest)
    complaint = next((line for line in said if _COMPLAINT.match(line)), None)
    return Reply(lines=tuple(said), complaint=complaint)


def read_position(reply: Reply) -> tuple[float, float, float] | None:
    """Return the shown X, Y and Z of an answer to ``M114``; None where they are missing.

    The first of each letter counts: Marlin repeats them behind ``Count``.
    """
    found: dict[str, float] = {}
    for letter, number in _POSITION.findall(reply.text):
        found.setdefault(letter, float(number))
    if len(found) < 3:
        return None
    return found["X"], found["Y"], found["Z"]
