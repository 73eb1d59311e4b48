"""What one firmware wants to be told, and with which sign.

C is the carriage coordinate with no offset in it, L the coordinate that the
firmware shows, n the nozzle vector: where a nozzle stands, seen from the reference
nozzle, in machine axes. With P_i the carriage coordinate at which nozzle i is over
one and the same point, n_i = P_ref - P_i.

Two families store opposite signs. Marlin, RepRapFirmware and slicers store where
the nozzle is (L = C + o), so that o_i = o_ref + n_i. Klipper and Smoothieware store
where the carriage has to go (C = L + g), so that g_i = g_ref - n_i. Beside them,
machines with two carriages may store the X coordinate that the second carriage is
given at its switch: a nozzle that stands further to +X then wants the whole frame
of its carriage to count higher, h_new = h_old + n.x.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from app.dialects.values import Finding, NozzleVectorMm, OffsetMm, PasteText
from app.dialects.writing import AXES, DECIMALS, Axis, Writing, component, mm_text

SECOND_CARRIAGE = 1
"""The tool that the second carriage bears, in firmwares that know two carriages."""

WHERE_THE_NOZZLE_IS: Literal[1] = 1
WHERE_THE_CARRIAGE_GOES: Literal[-1] = -1

_NONE = OffsetMm()
_ZERO_MM = 0.5 * 10.0**-DECIMALS
"""Below this a value is written as zero."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dialect:
    """One firmware's way to hold tool offsets.

    Attributes
    ----------
    name
        As in machine profiles.
    title
        For people.
    sign
        Of the nozzle vector in the stored value: +1 or -1.
    decimals
        How many the firmware shows of a position.
    write
        Turns new values into text.
    axes
        The axes that can be stored at all.
    in_display
        Whether the shown coordinate contains the active tool's value.
    first_tool_holds
        Whether tool 0 can hold a value; where it cannot, all are counted from it.
    usable_home_x
        Given where X of the second carriage is stored as its coordinate at its
        switch: whether such a coordinate is one that can be meant.
    tool_limit
        How many tools the firmware can have in this arrangement; None for many.
    before_measuring
        What to do before a run so that the old values are known exactly.
    """

    name: str
    title: str
    sign: Literal[1, -1]
    decimals: int
    write: Callable[[Writing], PasteText]
    axes: tuple[Axis, ...] = AXES
    in_display: bool = True
    first_tool_holds: bool = True
    usable_home_x: Callable[[float], bool] | None = None
    tool_limit: int | None = None
    before_measuring: tuple[str, ...] = ()

    def can_store(self, tool: int) -> bool:
        """Return whether the firmware keeps a value for this tool."""
        return tool != 0 or self.first_tool_holds

    def is_home_coordinate(self, tool: int, axis: Axis) -> bool:
        """Return whether the stored value is a coordinate at home, not an offset."""
        return self.usable_home_x is not None and axis == "x" and tool == SECOND_CARRIAGE

    def in_display_mm(self, stored_raw: OffsetMm) -> OffsetMm:
        """Return how much of a tool's value its shown coordinate contains.

        Parameters
        ----------
        stored_raw
            The active tool's stored value, in the firmware's own sign.

        Returns
        -------
        OffsetMm
            d, canonical: the carriage coordinate is C = L - d. For firmwares whose
            display contains the offset while it is active; a home coordinate moves
            the frame itself and counts nothing here.
        """
        if not self.in_display:
            return _NONE
        x, y, z = (self.sign * value + 0.0 for value in stored_raw)
        return OffsetMm(0.0 if self.usable_home_x else x, y, z)

    def new_stored(
        self,
        *,
        vectors: Mapping[int, NozzleVectorMm],
        stored_raw: Mapping[int, OffsetMm],
        reference_tool: int,
    ) -> dict[int, OffsetMm]:
        """Return the new stored value of every tool.

        Parameters
        ----------
        vectors
            Where each measured nozzle stands, seen from the reference nozzle,
            from carriage coordinates: the whole vector, not what is left of it.
            For a home coordinate it is measured in the frame as it is now.
        stored_raw
            What the firmware has now, in its own sign; a tool left out has zero.
        reference_tool
            Whose own value stays, where the firmware can hold it.

        Returns
        -------
        dict of int to OffsetMm
            For all tools named in `vectors` or `stored_raw` and the reference. A
            tool or an axis that was not measured keeps what it has.

        Raises
        ------
        ValueError
            When a vector is not finite, or the reference's own is not zero.
        """
        _check_vectors(vectors, reference_tool)
        tools = sorted({reference_tool, *vectors, *stored_raw})
        columns = [self._new_column(axis, vectors, stored_raw, reference_tool) for axis in AXES]
        old = {tool: stored_raw.get(tool, _NONE) for tool in tools}
        return {
            tool: OffsetMm(*(column.get(tool, old[tool][at]) for at, column in enumerate(columns)))
            for tool in tools
        }

    def _new_column(
        self,
        axis: Axis,
        vectors: Mapping[int, NozzleVectorMm],
        stored_raw: Mapping[int, OffsetMm],
        reference_tool: int,
    ) -> dict[int, float]:
        """Return one axis of the new values, for the tools in which it changes."""
        seen = _measured(axis, vectors, reference_tool)
        if axis not in self.axes or not seen:
            return {}
        if self.is_home_coordinate(SECOND_CARRIAGE, axis):
            if not {0, SECOND_CARRIAGE} <= seen.keys():
                return {}
            old = component(stored_raw.get(SECOND_CARRIAGE, _NONE), axis)
            return {SECOND_CARRIAGE: old + seen[SECOND_CARRIAGE] - seen[0]}
        if not self.first_tool_holds and 0 in seen:
            anchor, base = 0, 0.0
        else:
            anchor = reference_tool
            base = component(stored_raw.get(reference_tool, _NONE), axis)
        return {tool: base + self.sign * (n - seen[anchor]) for tool, n in seen.items()}

    def text(
        self,
        *,
        new: Mapping[int, OffsetMm],
        stored_raw: Mapping[int, OffsetMm],
        reference_tool: int,
        z_measured: bool,
    ) -> PasteText:
        """Return what to paste, settings and moves apart, with what to know first.

        Parameters
        ----------
        new
            From `new_stored`.
        stored_raw
            What the firmware has now.
        reference_tool
            As in `new_stored`.
        z_measured
            Whether the run measured heights. If not, Z is written only where a tool
            has one already, so that replacing a line does not lose it.

        Returns
        -------
        PasteText
            Three decimals. A value that the firmware would silently take for another
            is left out, and a note says what to do instead.
        """
        has_z = z_measured or any(abs(value.z) >= _ZERO_MM for value in new.values())
        writing = Writing(
            new=new,
            reference_tool=reference_tool,
            changed_tools=self._changed_tools(new, stored_raw, reference_tool),
            axes=tuple(axis for axis in self.axes if axis != "z" or has_z),
            home_x=self._home_x(new, stored_raw),
        )
        paste = self.write(writing)
        notes = (*self._home_notes(new, stored_raw), *self._anchor_notes(new, reference_tool))
        return replace(paste, notes=(*notes, *paste.notes))

    def _changed_tools(
        self, new: Mapping[int, OffsetMm], stored_raw: Mapping[int, OffsetMm], reference_tool: int
    ) -> tuple[int, ...]:
        def stays(tool: int) -> bool:
            old = stored_raw.get(tool, _NONE)
            return all(abs(a - b) < 1e-9 for a, b in zip(new[tool], old, strict=True))

        return tuple(
            tool
            for tool in sorted(new)
            if self.can_store(tool) and not (tool == reference_tool and stays(tool))
        )

    def _home_x(
        self, new: Mapping[int, OffsetMm], stored_raw: Mapping[int, OffsetMm]
    ) -> float | None:
        if self.usable_home_x is None or SECOND_CARRIAGE not in new:
            return None
        values = (stored_raw.get(SECOND_CARRIAGE, _NONE).x, new[SECOND_CARRIAGE].x)
        return values[1] if all(self.usable_home_x(value) for value in values) else None

    def _home_notes(
        self, new: Mapping[int, OffsetMm], stored_raw: Mapping[int, OffsetMm]
    ) -> tuple[str, ...]:
        if self.usable_home_x is None or SECOND_CARRIAGE not in new:
            return ()
        if self._home_x(new, stored_raw) is not None:
            return ()
        old = stored_raw.get(SECOND_CARRIAGE, _NONE).x
        change = new[SECOND_CARRIAGE].x - old
        if not self.usable_home_x(old):
            return (
                f"X of T1 is left out: {mm_text(old)} is not a coordinate that the second "
                "carriage can have at its switch. Look up the one that is in force and add "
                f"{mm_text(change)} mm to it.",
            )
        return (
            f"X of T1 is left out: it would have to be {mm_text(new[SECOND_CARRIAGE].x)}, and "
            f"{self.title} does not take that as a coordinate. Add {mm_text(change)} mm to the "
            "home position of the second carriage in the firmware's own configuration.",
        )

    def _anchor_notes(self, new: Mapping[int, OffsetMm], reference_tool: int) -> tuple[str, ...]:
        if self.first_tool_holds or reference_tool == 0 or 0 not in new:
            return ()
        return (
            f"{self.title} keeps no offset for T0, so all values are counted from T0, although "
            f"T{reference_tool} was the reference of this run.",
        )

    def findings(self, stored: Mapping[int, OffsetMm]) -> tuple[Finding, ...]:
        """Return what of these stored values the firmware cannot have, tool by tool."""
        return tuple(
            finding for tool in sorted(stored) for finding in self._findings_of(tool, stored[tool])
        )

    def _findings_of(self, tool: int, value: OffsetMm) -> list[Finding]:
        found = []
        if not all(math.isfinite(part) for part in value):
            message = f"The stored value of T{tool} is not a number: enter it again."
            return [Finding(code="stored-not-finite", message=message, tool=tool)]
        if self.tool_limit is not None and tool >= self.tool_limit:
            message = (
                f"{self.title} has tools 0 to {self.tool_limit - 1} only, and T{tool} is listed: "
                "take it out, or choose another firmware in the profile."
            )
            found.append(Finding(code="stored-tool-unknown", message=message, tool=tool))
        if not self.can_store(tool) and any(abs(part) >= _ZERO_MM for part in value):
            message = (
                f"{self.title} forgets an offset of T{tool} at the next start: set it to 0, "
                "restart the machine, and measure again."
            )
            found.append(Finding(code="stored-first-tool", message=message, tool=tool))
        found += [
            Finding(
                code="stored-axis-unknown",
                message=f"{self.title} has no {axis.upper()} offset, and T{tool} lists one: "
                "set it to 0.",
                tool=tool,
            )
            for axis in AXES
            if axis not in self.axes and abs(component(value, axis)) >= _ZERO_MM
        ]
        if self.usable_home_x and tool == SECOND_CARRIAGE and not self.usable_home_x(value.x):
            message = (
                f"X of T{tool} is the coordinate that the second carriage is given at its switch, "
                f"and {mm_text(value.x)} cannot be it: enter the one that is in force."
            )
            found.append(Finding(code="stored-home-x", message=message, tool=tool))
        return found


def _check_vectors(vectors: Mapping[int, NozzleVectorMm], reference_tool: int) -> None:
    for tool, vector in vectors.items():
        parts = [part for part in vector if part is not None]
        if not all(math.isfinite(part) for part in parts):
            raise ValueError(f"vectors[{tool}] has to be finite, and is {vector}")
        if tool == reference_tool and any(abs(part) > 1e-6 for part in parts):
            raise ValueError(f"vectors[{tool}] is the reference's own: zero, not {vector}")


def _measured(
    axis: Axis, vectors: Mapping[int, NozzleVectorMm], reference_tool: int
) -> dict[int, float]:
    """Return one axis of the vectors, where measured, the reference's zero among them."""
    at = AXES.index(axis)
    seen = {tool: part for tool, vector in vectors.items() if (part := vector[at]) is not None}
    others = {tool: part for tool, part in seen.items() if tool != reference_tool}
    return {reference_tool: 0.0, **others} if others else {}
