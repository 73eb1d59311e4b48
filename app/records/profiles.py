"""Machine profiles as TOML files that people read and edit."""

from __future__ import annotations

import dataclasses
import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from enum import Enum
from pathlib import Path
from uuid import uuid4

from app.errors import InputError
from app.job.profile import SCHEMA, Profile, Tool, parse_profile
from app.records import disk

COMMENTS: Mapping[str, str] = {
    "name": "What the machine is called.",
    "layout": "independent-carriages, tool-changer, fixed-nozzles or lifting-nozzle.",
    "dialect": "What the firmware wants to be told, and with which sign.",
    "reference_tool": "The tool that all others are measured from.",
    "homes_between_tools": "Whether the machine has to home when another tool is taken.",
    "shows_coordinates": "false for panels that only jog.",
    "display_includes_offset": "Whether the display already counts the active tool's offset in.",
    "whole_steps": "Whether every move since homing is a whole number of displayed steps.",
    "sightings_per_tool": "How many separate sightings of each tool a run asks for.",
    "z_by_focus": "Whether heights found by focusing go into the text.",
    "display_step_mm": "The last digit of the display.",
    "motor_step_mm": "One step of the motors.",
    "repeatability_um": "Standard deviation of coming back to a place from the same side.",
    "reversal_um": "Backlash; leave the line out when it is not known.",
    "pickup_repeatability_um": "Standard deviation, per axis, of picking a tool up again.",
    "tolerance_mm": "The expanded uncertainty (k = 2) that is good enough here.",
    "vector_limit_mm": "How far a nozzle may stand from nominal_mm before it is questioned.",
    "travel_mm": "Lowest and highest coordinate that the display can show, per axis.",
    "tools": "One block a tool.",
    "number": "As the firmware counts.",
    "stored_raw": "The offset that the firmware has now (x, y, z), in its own sign, in mm.",
    "nominal_mm": "Where the nozzle should be by design, from the reference nozzle (x, y).",
    "bore_mm": "Nominal diameter of the bore.",
}
"""What stands above each field in the file."""

_AT_LINE = re.compile(r"^(?P<what>.*) \(at (?P<where>line (?P<line>\d+), column \d+)\)$", re.DOTALL)


def read_profile(path: Path) -> Profile:
    """Return the machine that a profile file describes.

    Raises
    ------
    InputError
        Names the file, and the line or field that cannot be used.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")  # some editors put a mark in front
    except FileNotFoundError as error:
        raise _refusal(path, "is not there; check the name", code="file-missing") from error
    except OSError as error:
        why = f"cannot be read ({error.strerror}); check that it is a file you may read"
        raise _refusal(path, why, code="file-unreadable") from error
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        why = f"line {line} is no UTF-8 text; save the file as UTF-8"
        raise _refusal(path, why, code="bad-toml", at=f"line {line}") from error
    try:
        mapping = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise _syntax_refusal(path, text, error) from error
    return parse_profile(mapping, file=str(path))


def write_profile(profile: Profile, path: Path) -> None:
    """Write a profile as TOML with a comment for each field; a file is replaced as a whole.

    Raises
    ------
    InputError
        The file cannot be written; one that was there before is as it was.
    ValueError
        The profile holds what `read_profile` would refuse, such as NaN.
    """
    content = profile_text(profile).encode()
    part = path.with_name(f".{path.name}.{uuid4().hex[:8]}.part")
    try:
        try:
            disk.write_part(part, content)
            disk.keep(part, path)
        finally:
            part.unlink(missing_ok=True)
    except OSError as error:
        why = f"cannot be written ({error.strerror}); check the folder and the room on the disk"
        raise _refusal(path, why, code="file-not-written") from error


def profile_text(profile: Profile) -> str:
    """Return a profile as the text of its file; `tools` and `travel_mm` come last."""
    lines = ["# A machine of Tipwright. Lengths in mm or um, as each name says.", ""]
    lines += [f"schema = {SCHEMA}", ""]
    for field in dataclasses.fields(profile):
        if field.name not in ("tools", "travel_mm"):
            lines += _field_lines(field.name, getattr(profile, field.name))
    lines.append(f"# {COMMENTS['travel_mm']}")
    if profile.travel_mm is None:
        lines += ["# Leave the block out when it is not known.", ""]
    else:
        lines.append("[travel_mm]")
        lines += [f"{axis} = {_toml(r)}" for axis, r in zip("xyz", profile.travel_mm, strict=True)]
        lines.append("")
    lines.append(f"# {COMMENTS['tools']}")
    for tool in profile.tools:
        lines += ["[[tools]]", *_tool_lines(tool), ""]
    return "\n".join(lines)


def _tool_lines(tool: Tool) -> Iterator[str]:
    for field in dataclasses.fields(tool):
        yield f"{field.name} = {_toml(getattr(tool, field.name))}  # {COMMENTS[field.name]}"


def _field_lines(name: str, value: object) -> list[str]:
    written = f"# {name} =" if value is None else f"{name} = {_toml(value)}"
    return [f"# {COMMENTS[name]}", written, ""]


def _toml(value: object) -> str:
    """Return a value as TOML (TOML 1.0.0, sections String, Float, Array)."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Enum):
        return _toml(value.value)
    if isinstance(value, str):
        # JSON escapes what TOML does, but for the delete character.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, int | float):
        return json.dumps(value, allow_nan=False)
    if isinstance(value, tuple):
        return f"[{', '.join(_toml(item) for item in value)}]"
    raise TypeError(f"a profile cannot hold {value!r}")


def _syntax_refusal(path: Path, text: str, error: Exception) -> InputError:
    if not isinstance(error, tomllib.TOMLDecodeError):
        # Python's own limits: thousands of brackets or digits.
        why = "holds brackets or digits beyond all measure; correct it"
        return _refusal(path, why, code="bad-toml")
    found = _AT_LINE.match(str(error))
    if found is None:
        last = text.count("\n") + 1
        what = str(error).removesuffix(" (at end of document)")
        return _refusal(
            path,
            f"ends too early ({what}); complete line {last}",
            code="bad-toml",
            at=f"line {last}",
        )
    line = int(found["line"])
    shown = text.splitlines()[line - 1].strip()[:60] if line <= len(text.splitlines()) else ""
    return _refusal(
        path,
        f"{found['where']} cannot be read: {found['what']}; correct that line",
        code="bad-toml",
        at=f"line {line}",
        value=shown,
    )


def _refusal(
    path: Path, why: str, *, code: str, at: str | None = None, value: object = None
) -> InputError:
    return InputError(f"{path}: {why}.", code=code, file=str(path), path=at, value=value)
