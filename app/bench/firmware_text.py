"""Text that a person pastes: settings files and macros as the firmwares read them.

Lines of G-code go to an `Interpreter`; what stands in configuration files is read
here, by rules of the firmwares' own (Klipper ``klippy/configfile.py``: sections
in brackets, options with ``:`` or ``=``, macros indented; Smoothieware
``ConfigSamples``: one name and value a line), and a slicer's offsets in plain words.
"""

from __future__ import annotations

import re

from app.bench.controller import Controller
from app.bench.firmware import Family
from app.bench.gcode import Interpreter, gcode_offset, parse_line
from app.errors import MachineError

_SECTION = re.compile(r"^\[([^\]]+)\]\s*$")
_PLACE = re.compile(r"^#.*\[(gcode_macro\s+t\d+)\]", re.IGNORECASE)
_AFTERWARDS = re.compile(r"^;\s*after the settings\b", re.IGNORECASE)
_READ = re.compile(r"([XYZ])=\{\s*printer\.save_variables\.variables\.(\w+)\s*\}", re.IGNORECASE)
_MACRO = re.compile(r"^gcode_macro\s+t(\d+)$", re.IGNORECASE)
_OPTION = re.compile(r"^([a-z_][a-z0-9_]*)\s*[:=]\s*(.*)$", re.IGNORECASE)
_SMOOTHIE = re.compile(r"^extruder\.hotend(\d*)\.([xyz])_offset\s+(\S+)", re.IGNORECASE)
_SLICER = re.compile(r"^extruder\s+(\d+)\s+offset\b(.*)$", re.IGNORECASE)
_AXIS_VALUE = re.compile(r"\b([XYZ])\s*[=:]?\s*(-?\d*\.?\d+)", re.IGNORECASE)
_COMPLAINTS = ("error", "!!", "//", "echo:unknown", "echo:home", "echo:m218", "rs ")


def apply_text(controller: Controller, text: str) -> None:
    """Do what a pasted text says: store offsets, and run its lines of G-code.

    Raises
    ------
    MachineError
        Coded ``text-not-understood``, with the line, for what the firmware refuses.
    """
    interpreter = Interpreter(controller)
    section = ""
    for raw in text.splitlines():
        line = raw.split("#", 1)[0].rstrip()
        # A comment that names a macro says where a person puts what follows.
        heading = _SECTION.match(line.strip()) or _PLACE.match(raw.strip())
        if heading is not None:
            section = heading.group(1).strip()
        elif line.strip() and not _apply_config(controller, section, line):
            _run(interpreter, line)


def paste(controller: Controller, *, settings: str, moves: str) -> None:
    """Paste a dialect's two texts in the order that the moves ask for.

    Moves come before the settings, but for those under ``; after the settings``.

    Raises
    ------
    MachineError
        As `apply_text`.
    """
    lines = moves.splitlines()
    after = next((at for at, line in enumerate(lines) if _AFTERWARDS.match(line)), len(lines))
    for text in ("\n".join(lines[:after]), settings, "\n".join(lines[after:])):
        apply_text(controller, text)


def _apply_config(controller: Controller, section: str, line: str) -> bool:
    """Take a line as part of a configuration; False when it is G-code to run now."""
    family = controller.rules.family
    if controller.rules.sliced and (match := _SLICER.match(line.strip())):
        axes = _axis_values(match.group(2))
        _store(controller, int(match.group(1)) - 1, axes, line)
        return True
    if family is Family.SMOOTHIE and (match := _SMOOTHIE.match(line.strip())):
        number, axis, value = match.groups()
        axes = {axis.lower(): _number(value, line)}
        _store(controller, int(number or "1") - 1, axes, line)
        return True
    if family is Family.KLIPPER and section:
        _apply_klipper(controller, section, line)
        return True
    return False


def _apply_klipper(controller: Controller, section: str, line: str) -> None:
    """Read a line of ``printer.cfg`` inside a section."""
    if section == "dual_carriage":
        option = _OPTION.match(line.strip())
        if option is not None and option.group(1).lower() == "position_endstop":
            second = controller.tools[1]
            _store(controller, second, {"x": _number(option.group(2), line)}, line)
        return
    macro = _MACRO.match(section)
    if macro is not None and (reads := _READ.findall(line)):
        _check_reads(controller, int(macro.group(1)), reads, line)
        return
    parsed = parse_line(line)
    if macro is None or parsed is None or parsed.name != "SET_GCODE_OFFSET":
        return
    try:
        axes, _ = gcode_offset(parsed)
    except ValueError:
        raise _not_understood(line) from None
    tool = int(macro.group(1))
    # X stands at the switch; a macro that names it too would count it twice.
    if "x" in axes and controller.rules.x_at_home and tool != controller.tools[0]:
        raise _not_understood(line)
    _store(controller, tool, axes, line)


def _check_reads(
    controller: Controller, tool: int, reads: list[tuple[str, str]], line: str
) -> None:
    """Refuse a macro that reads another tool's or axis's variable than its own."""
    right = all(name == f"t{tool}_{axis.lower()}" for axis, name in reads)
    if not right or not controller.rules.macros_read_variables:
        raise _not_understood(line)


def _run(interpreter: Interpreter, line: str) -> None:
    for reply in interpreter.answer(line):
        if reply.lower().startswith(_COMPLAINTS):
            raise _not_understood(line)


def _store(controller: Controller, tool: int, axes: dict[str, float], line: str) -> None:
    if tool not in controller.tools or not axes:
        raise _not_understood(line)
    controller.store(tool, axes)


def _axis_values(text: str) -> dict[str, float]:
    return {axis.lower(): float(value) for axis, value in _AXIS_VALUE.findall(text)}


def _number(text: str, line: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise _not_understood(line) from None


def _not_understood(line: str) -> MachineError:
    return MachineError(
        f'The bench\'s firmware refuses the line "{line.strip()}"; check it against the dialect.',
        code="text-not-understood",
        value=line.strip(),
    )
