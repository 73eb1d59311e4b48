"""G-code as the bench's firmwares read and answer it: one line in, some lines out.

The wording of answers and refusals is what the firmwares print (Marlin
``gcode/host/M115.cpp``, ``M114.cpp``, ``gcode/config/M218.cpp``; RepRapFirmware
``GCodes/GCodes2.cpp``; Klipper ``klippy/gcode.py``, ``extras/gcode_move.py``;
Smoothieware ``modules/robot/Robot.cpp``). A line that makes no sense gets the
firmware's complaint and never ends the conversation.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from app.bench.controller import Controller
from app.bench.firmware import Family
from app.errors import MachineError

_COMMAND = re.compile(r"^\s*([A-Za-z_]+)\s*(-?\d+(?:\.\d+)?)?\s*(.*)$")
_WORD = re.compile(r"([A-Za-z])\s*(-?\d*\.?\d+)?")
_PAIR = re.compile(r"([A-Za-z_]+)\s*=\s*(\"[^\"]*\"|'[^']*'|[^\s]+)")
_NUMBERED = re.compile(r"^\s*N(-?\d+)\s*(.*)$", re.IGNORECASE)
_VARIABLE = re.compile(r"^t(\d+)_([xyz])$")


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line, taken apart.

    Attributes
    ----------
    name
        ``G0``, ``T1`` or ``SET_GCODE_OFFSET``, in capitals.
    words
        The letters with their numbers; None where a letter has none.
    pairs
        ``NAME=value`` parameters, names in capitals.
    """

    name: str
    words: Mapping[str, float | None]
    pairs: Mapping[str, str]

    def number(self, letter: str) -> float | None:
        """Return the number behind a letter, or None."""
        return self.words.get(letter)

    def numbers(self, letters: Mapping[str, str]) -> dict[str, float]:
        """Return ``{axis: number}`` for the letters that have one."""
        found = {axis: self.words.get(letter) for letter, axis in letters.items()}
        return {axis: value for axis, value in found.items() if value is not None}


def parse_line(text: str) -> Line | None:
    """Take a line apart; None when it is blank or only a comment."""
    bare = re.sub(r"\([^)]*\)", "", text.split(";", 1)[0]).strip()
    match = _COMMAND.match(bare)
    if match is None:
        return Line(name=bare, words={}, pairs={}) if bare else None
    letters, digits, rest = match.groups()
    if digits is None:
        pairs = {key.upper(): value.strip("\"'") for key, value in _PAIR.findall(rest)}
        return Line(name=letters.upper(), words={}, pairs=pairs)
    words = {letter.upper(): _finite(number) for letter, number in _WORD.findall(rest)}
    return Line(name=f"{letters.upper()}{_whole(digits)}", words=words, pairs={})


def _finite(digits: str) -> float | None:
    """Return a number; None for none, and for one too long to be any."""
    if not digits:
        return None
    value = float(digits)
    return value if math.isfinite(value) else None


def _literal(text: str) -> float:
    """Return a number; ValueError for what is none."""
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(text)
    return value


def _whole(digits: str) -> str:
    value = _finite(digits)
    return str(int(value)) if value is not None and value.is_integer() else digits


_XYZ = {"X": "x", "Y": "y", "Z": "z"}


class Interpreter:
    """One conversation with the board: modes and line numbers are its own.

    Calls of `answer` may come from any thread, one at a time.

    Parameters
    ----------
    controller
        The board; several conversations may share it.
    waiting
        Called now and then while a line takes long.
    """

    def __init__(
        self, controller: Controller, *, waiting: Callable[[], None] | None = None
    ) -> None:
        self._board = controller
        self._waiting = waiting
        self._family = controller.rules.family
        self._relative = False
        self._speed_mm_per_s: float | None = None
        self._last_number = 0
        self._said_halted = False
        self._commands: dict[str, Callable[[Line], list[str]]] = {
            "G0": self._move,
            "G1": self._move,
            "G28": self._home,
            "G90": self._absolute,
            "G91": self._incremental,
            "M105": self._temperatures,
            "M110": self._set_number,
            "M112": self._emergency,
            "M114": self._position,
            "M115": self._identity,
            "M400": self._finish,
            **self._own_commands(),
        }

    def answer(self, text: str) -> list[str]:
        """Return the lines that the firmware answers, the ``ok`` among them."""
        numbered = _NUMBERED.match(text)
        if numbered and self._family is not Family.KLIPPER:
            refusal = self._check_number(text, int(numbered.group(1)))
            if refusal:
                return refusal
            text = numbered.group(2).split("*", 1)[0]
        line = parse_line(text)
        if line is None:
            # A blank line: Marlin says nothing at all.
            return [] if self._family is Family.MARLIN else ["ok"]
        if self._board.is_halted:
            return self._deaf(line)
        if self._family is Family.MARLIN and text.lstrip()[:1].islower():
            # It takes capitals only.
            return self._ok(f'echo:Unknown command: "{text.strip()}"')
        return self._run(line)

    def greeting(self) -> list[str]:
        """Return what the firmware says when somebody connects."""
        return {
            Family.MARLIN: ["start", "echo:Marlin bench", "echo:  simulated"],
            Family.REPRAP: [],
            Family.KLIPPER: ["// Klipper state: Ready"],
            Family.SMOOTHIE: ["Smoothie", "ok"],
        }[self._family]

    # -- one line ---------------------------------------------------------------

    def _own_commands(self) -> dict[str, Callable[[Line], list[str]]]:
        """Return what only this firmware knows."""
        if self._family is Family.MARLIN:
            return {
                "M92": self._nothing,
                "M211": self._limits,
                "M218": self._m218,
                "M410": self._quick_stop,
                "M500": self._settings_stored,
                "M605": self._nothing,
            }
        if self._family is Family.KLIPPER:
            return {
                "SET_GCODE_OFFSET": self._set_gcode_offset,
                "SAVE_VARIABLE": self._save_variable,
            }
        if self._family is Family.REPRAP:
            return {"G10": self._g10, "M500": self._nothing, "M999": self._reset}
        return {"G10": self._g10, "M500": self._nothing, "M999": self._reset}

    def _run(self, line: Line) -> list[str]:
        command = self._commands.get(line.name)
        if command is None and re.fullmatch(r"T-?\d*", line.name):
            command = self._tool
        if command is None:
            return self._unknown(line)
        try:
            return command(line)
        except MachineError as error:
            return self._refusal(error)

    def _ok(self, *lines: str) -> list[str]:
        return [*lines, "ok"]

    def _nothing(self, _line: Line) -> list[str]:
        return self._ok()

    def _unknown(self, line: Line) -> list[str]:
        if self._family is Family.MARLIN:
            return self._ok(f'echo:Unknown command: "{line.name}"')
        if self._family is Family.KLIPPER:
            return self._ok(f'// Unknown command:"{line.name}"')
        if self._family is Family.REPRAP:
            return self._ok(f"Error: {line.name}: Command is not supported")
        return self._ok()

    def _refusal(self, error: MachineError) -> list[str]:
        value = error.value
        texts = {
            Family.MARLIN: {
                "not-homed": f"echo:Home {value} First",
                "no-such-tool": f"echo:T{value} Invalid extruder",
            },
            Family.REPRAP: {
                "not-homed": "Error: G0: insufficient axes homed",
                "no-such-tool": f"Error: Attempt to select non-existent tool {value}",
            },
            Family.KLIPPER: {
                "not-homed": f"!! Must home axis first: {self._coordinates(3)}",
                "no-such-tool": f'// Unknown command:"T{value}"',
                "out-of-range": f"!! Move out of range: {value}",
            },
            Family.SMOOTHIE: {
                "no-such-tool": f"Error: T{value} invalid tool",
                "end-stop": f"Error: Soft Endstop {value} was exceeded - reset or M999 required",
            },
        }[self._family]
        return self._ok(texts.get(error.code, f"Error: {error.message}"))

    def _deaf(self, line: Line) -> list[str]:
        """Answer while halted: only a reset is heard, and the stop itself, once."""
        if line.name == "M112" and not self._said_halted:
            return self._emergency(line)
        wake = {Family.KLIPPER: "FIRMWARE_RESTART", Family.REPRAP: "M999", Family.SMOOTHIE: "M999"}
        if line.name == wake.get(self._family):
            return self._reset(line)
        if self._family is Family.MARLIN:
            return []
        return (
            ["!! Shutdown due to M112 command", "ok"]
            if (self._family is Family.KLIPPER)
            else ["!!"]
        )

    # -- moving -----------------------------------------------------------------

    def _move(self, line: Line) -> list[str]:
        feed = line.number("F")
        if feed is not None and feed > 0.0:
            self._speed_mm_per_s = feed / 60.0
        named = line.numbers(_XYZ)
        if named:
            self._board.make_room(waiting=self._waiting)
        if self._relative:
            now = self._board.position()
            named = {axis: getattr(now, axis) + step for axis, step in named.items()}
        if named:
            self._board.go(named, speed_mm_per_s=self._speed_mm_per_s)
        return self._ok()

    def _home(self, line: Line) -> list[str]:
        named = frozenset(axis for letter, axis in _XYZ.items() if letter in line.words)
        # Klipper takes the axes of G28 as words too; both write "G28 X".
        self._board.home(named or frozenset("xyz"))
        self._board.finish(waiting=self._waiting)
        return self._ok(*([self._m114()] if self._family is Family.MARLIN else []))

    def _absolute(self, _line: Line) -> list[str]:
        self._relative = False
        return self._ok()

    def _incremental(self, _line: Line) -> list[str]:
        self._relative = True
        return self._ok()

    def _finish(self, line: Line) -> list[str]:
        self._board.finish(waiting=self._waiting)
        return self._deaf(line) if self._board.is_halted else self._ok()

    def _tool(self, line: Line) -> list[str]:
        if line.name == "T":
            active = f"Active Extruder: {self._board.active}"
            return self._ok(*([active] if self._family is Family.MARLIN else []))
        tool = int(line.name[1:])
        self._board.select(tool, may_move=line.number("S") != 1.0)
        self._board.finish(waiting=self._waiting)
        return self._ok(*([f"Active Extruder: {tool}"] if self._family is Family.MARLIN else []))

    def _emergency(self, _line: Line) -> list[str]:
        self._board.halt()
        self._said_halted = True
        if self._family is Family.MARLIN:
            return ["echo:M112 Shutdown", "Error:Printer halted. kill() called!"]
        if self._family is Family.KLIPPER:
            return self._ok("// Klipper state: Shutdown")
        if self._family is Family.REPRAP:
            return self._ok("Emergency Stop! Reset the controller to continue.")
        return ["ok Emergency Stop Requested - reset or M999 required to exit HALT state"]

    def _quick_stop(self, _line: Line) -> list[str]:
        self._board.stop_motion()
        return self._ok()

    def _reset(self, _line: Line) -> list[str]:
        self._said_halted = False
        self._board.reset()
        return self._ok()

    # -- asking -----------------------------------------------------------------

    def _position(self, _line: Line) -> list[str]:
        if self._family is Family.SMOOTHIE:
            return [f"ok C: {self._coordinates(4, join=':')} E:0.0000"]
        return self._ok(self._m114())

    def _m114(self) -> str:
        decimals = self._board.rules.decimals
        shown = self._coordinates(decimals, join=":")
        motor = self._board.motor()
        if self._family is Family.MARLIN:
            # Count is in the frame that the offsets shift (planner.cpp
            # `set_machine_position_mm`).
            shift = self._board.position().minus(self._board.carriage())
            x, y, z = self._board.count(motor.plus(shift))
            steps = f"X:{x} Y:{y} Z:{z}"
            return f"{shown} E:0.00 Count {steps}"
        if self._family is Family.REPRAP:
            carriage = self._board.carriage()
            machine = f"{carriage.x:.3f} {carriage.y:.3f} {carriage.z:.3f}"
            x, y, z = self._board.count(motor)
            return f"{shown} E:0.000 E0:0.0 Count {x} {y} {z} Machine {machine} Bed comp 0.000"
        return f"{shown} E:0.000"

    def _coordinates(self, decimals: int, *, join: str = ":") -> str:
        at = self._board.position()
        # Adding zero turns a rounded -0.0 into 0.0.
        values = [round(value, decimals) + 0.0 for value in at]
        return " ".join(
            f"{axis}{join}{value:.{decimals}f}" for axis, value in zip("XYZ", values, strict=True)
        )

    def _identity(self, _line: Line) -> list[str]:
        tools = len(self._board.tools)
        if self._family is Family.MARLIN:
            return self._ok(
                "FIRMWARE_NAME:Marlin bench (simulated) SOURCE_CODE_URL:none "
                f"PROTOCOL_VERSION:1.0 MACHINE_TYPE:bench EXTRUDER_COUNT:{tools} UUID:bench",
                "Cap:EEPROM:1",
                "Cap:EMERGENCY_PARSER:1",
            )
        if self._family is Family.KLIPPER:
            return ["ok FIRMWARE_NAME:Klipper FIRMWARE_VERSION:bench"]
        if self._family is Family.REPRAP:
            return self._ok(
                "FIRMWARE_NAME: RepRapFirmware for bench FIRMWARE_VERSION: 3.5.3 "
                "ELECTRONICS: bench FIRMWARE_DATE: 2024-10-23"
            )
        return self._ok("FIRMWARE_NAME:Smoothieware, FIRMWARE_VERSION:bench, X-AXES:3")

    def _temperatures(self, _line: Line) -> list[str]:
        if self._family is Family.MARLIN:
            tools = " ".join(f"T{tool}:24.00 /0.00" for tool in self._board.tools)
            return [f"ok T:24.00 /0.00 B:23.50 /0.00 {tools} @:0 B@:0"]
        tools = " ".join(f"T{tool}:24.0 /0.0" for tool in self._board.tools)
        return [f"ok B:23.5 /0.0 {tools}"]

    def _limits(self, _line: Line) -> list[str]:
        shift = self._board.position().minus(self._board.carriage())
        limits = self._board.limits()
        low = " ".join(f"{a.upper()}{limits[a][0] + getattr(shift, a):.2f}" for a in "xyz")
        high = " ".join(f"{a.upper()}{limits[a][1] + getattr(shift, a):.2f}" for a in "xyz")
        return self._ok("  M211 S1 ; ON", f"  Min:  {low}   Max:  {high}")

    # -- offsets ----------------------------------------------------------------

    def _m218(self, line: Line) -> list[str]:
        axes = line.numbers(_XYZ)
        if not axes:
            return self._ok(*(self._m218_report(tool) for tool in self._board.tools[1:]))
        tool = _tool_number(line.number("T"), default=self._board.active)
        if tool not in self._board.tools:
            return self._ok(f"echo:M218 Invalid extruder {tool}")
        self._board.store(tool, axes)
        return self._ok()

    def _m218_report(self, tool: int) -> str:
        offset = self._board.stored(tool)
        return f"  M218 T{tool} X{offset.x:.2f} Y{offset.y:.2f} Z{offset.z:.3f}"

    def _g10(self, line: Line) -> list[str]:
        """Store a tool offset: P counts from 0, in Smoothieware from 1."""
        selector = line.number("L")
        if selector not in (None, 1.0) or not line.words:
            return self._ok()
        first = 1 if self._family is Family.SMOOTHIE else 0
        default = self._board.active + first
        tool = _tool_number(line.number("P"), default=default) - first
        if tool not in self._board.tools:
            return self._ok(f"Error: G10: Tool number {tool} not found")
        letters = dict(_XYZ)
        if self._board.rules.second_axis and tool != self._board.tools[0]:
            # A tool whose X is mapped to the U axis uses the offset stored there.
            letters = {"U": "x", "Y": "y", "Z": "z"}
        axes = line.numbers(letters)
        if axes:
            self._board.store(tool, axes)
            return self._ok()
        return self._ok(*([self._g10_report(tool)] if self._family is Family.REPRAP else []))

    def _g10_report(self, tool: int) -> str:
        offset = self._board.stored(tool)
        return (
            f"Tool {tool}: offsets X{offset.x:.3f} Y{offset.y:.3f} Z{offset.z:.3f}, "
            "active/standby temperature(s) 0.0/0.0"
        )

    def _settings_stored(self, _line: Line) -> list[str]:
        return self._ok("echo:Settings Stored (648 bytes; crc 30273)")

    def _set_gcode_offset(self, line: Line) -> list[str]:
        try:
            axes, adjust = gcode_offset(line)
        except ValueError:
            return self._ok("!! Error on SET_GCODE_OFFSET: unable to parse a number")
        self._board.set_gcode_offset(axes, adjust, move=line.pairs.get("MOVE") == "1")
        return self._ok()

    def _save_variable(self, line: Line) -> list[str]:
        """Keep a number; where the macros read such variables it is tool 1's X in ``t1_x``."""
        match = _VARIABLE.match(line.pairs.get("VARIABLE", ""))
        try:
            value = _literal(line.pairs.get("VALUE", ""))
        except ValueError:
            return self._ok("!! Unable to parse the value as a literal")
        read = self._board.rules.macros_read_variables
        if match is not None and read and int(match.group(1)) in self._board.tools:
            self._board.store(int(match.group(1)), {match.group(2): value})
        return self._ok()

    # -- line numbers -----------------------------------------------------------

    def _set_number(self, line: Line) -> list[str]:
        number = line.number("N")
        if number is not None:
            self._last_number = int(number)
        return self._ok()

    def _check_number(self, text: str, number: int) -> list[str] | None:
        """Check line number and sum as Marlin does; None when both are right.

        The sum is the exclusive or of all bytes before the ``*``.
        """
        body, star, told = text.rstrip().rpartition("*")
        last = self._last_number
        if not star:
            return self._resend(f"Error:No Checksum with line number, Last Line: {last}")
        total = 0
        for byte in body.encode("utf-8", errors="replace"):
            total ^= byte
        if told.strip() != str(total):
            return self._resend(f"Error:checksum mismatch, Last Line: {last}")
        line = parse_line(_strip_number(body))
        sets_number = line is not None and line.name == "M110"
        if not sets_number and number != last + 1:
            return self._resend(f"Error:Line Number is not Last Line Number+1, Last Line: {last}")
        self._last_number = number
        return ["ok"] if sets_number else None

    def _resend(self, why: str) -> list[str]:
        again = self._last_number + 1
        if self._family is Family.SMOOTHIE:
            return [f"rs N{again}"]
        return [why, f"Resend: {again}", "ok"]


def gcode_offset(line: Line) -> tuple[dict[str, float], dict[str, float]]:
    """Return the values and the adjustments of a SET_GCODE_OFFSET line, per axis.

    Raises
    ------
    ValueError
        For what is no number.
    """
    axes = {a: _literal(line.pairs[a.upper()]) for a in "xyz" if a.upper() in line.pairs}
    adjust = {
        a: _literal(line.pairs[f"{a.upper()}_ADJUST"])
        for a in "xyz"
        if f"{a.upper()}_ADJUST" in line.pairs
    }
    return axes, adjust


def _tool_number(value: float | None, *, default: int) -> int:
    return default if value is None else int(value)


def _strip_number(body: str) -> str:
    match = _NUMBERED.match(body)
    return match.group(2) if match else body
