"""A job file: a whole job worked out offline. The format, checked field by field."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

from app.dialects.values import Layout, OffsetMm
from app.errors import InputError
from app.job.facts import Approach, Position
from app.job.fields import Fields
from app.job.observations import MachineFigures
from app.job.places import FARTHEST_MM
from app.job.profile import MAX_TOOLS, PICKUP_REPEATABILITY_UM
from vision.geometry import PointPx

SCHEMA = 1

DEFAULT_SIGMA_PX = 0.1
"""Assumed of a centre that was given without its uncertainty: what a plain method
reaches on a fair picture."""


class _Units(StrEnum):
    MM = "mm"


@dataclass(frozen=True, slots=True, kw_only=True)
class JobSighting:
    """One sighting as the file gives it: a frame to be measured, or a centre.

    Attributes
    ----------
    path
        Where it stands in the file, such as ``sightings[3]``.
    frame
        Path of the picture relative to the file, or None.
    centre_px
        The centre, where no picture is given.
    sigma_px
        Standard uncertainty per axis of `centre_px`, or None when not stated.
    """

    path: str
    tool: int
    frame: str | None
    centre_px: PointPx | None
    position: Position
    in_display_mm: OffsetMm
    says_in_display: bool
    approach: Approach
    sigma_px: float | None
    struck: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class JobFile:
    """A job as its file gives it; struck entries are kept apart from what counts."""

    file: str | None
    layout: Layout | None
    dialect: str | None
    figures: MachineFigures
    reference_tool: int
    stored_raw: Mapping[int, OffsetMm]
    scale_jogs: tuple[JobSighting, ...]
    sightings: tuple[JobSighting, ...]


def parse_job_text(text: str, *, file: str | None = None) -> JobFile:
    """Return the job that a file's text holds.

    Raises
    ------
    InputError
        With file, field and value.
    """
    try:
        table = json.loads(text, object_pairs_hook=_without_twins)
    except json.JSONDecodeError as error:
        raise InputError(
            f"{file or 'The input'} is not JSON: line {error.lineno}, column {error.colno}: "
            f"{error.msg}.",
            code="not-json",
            file=file,
            path=f"line {error.lineno}",
        ) from error
    except (RecursionError, ValueError) as error:
        raise InputError(
            f"{file or 'The input'} cannot be read as JSON: {error}.", code="not-json", file=file
        ) from error
    return parse_job(table, file=file)


def parse_job(table: object, *, file: str | None = None) -> JobFile:
    """Return the job that a table holds; see `parse_job_text`."""
    fields = Fields(table, file=file)
    if fields.integer("schema", low=0, high=10**6) != SCHEMA:
        raise fields.refuse("schema", f"has to be {SCHEMA}")
    _check_units(fields)
    reference = fields.integer("reference_tool", high=999)
    layout = fields.choice("layout", Layout) if fields.has("layout") else None
    job = JobFile(
        file=file,
        layout=layout,
        dialect=fields.text("dialect") if fields.has("dialect") else None,
        figures=_parse_machine(fields, layout),
        reference_tool=reference,
        stored_raw=_parse_stored(fields),
        scale_jogs=fields.each("scale_jogs", lambda entry: _parse_sighting(entry, reference)),
        sightings=fields.each("sightings", lambda entry: _parse_sighting(entry, None)),
    )
    fields.finish()
    _check_tools(job, fields)
    return job


def _without_twins(pairs: list[tuple[str, object]]) -> dict[str, object]:
    table: dict[str, object] = {}
    for name, value in pairs:
        if name in table:
            raise InputError(
                f"The field {name} stands twice in one table.",
                code="duplicate-field",
                path=name,
                value=value if isinstance(value, int | float | str) else None,
            )
        table[name] = value
    return table


def _check_units(fields: Fields) -> None:
    units = fields.text("units")
    if units.strip().lower() in {"in", "inch", "inches", '"'}:
        raise fields.refuse(
            "units", "has to be mm; multiply inches by 25.4 and write the positions in mm"
        )
    fields.choice("units", _Units)


def _parse_machine(fields: Fields, layout: Layout | None) -> MachineFigures:
    """Read the machine's figures; how tools are picked up follows from the layout."""
    usual = MachineFigures()
    if layout is not None:
        usual = replace(usual, pickup_repeatability_um=PICKUP_REPEATABILITY_UM[layout])
    if not fields.has("machine"):
        return usual
    machine = fields.table("machine")
    figures = replace(
        usual,
        display_step_mm=machine.number(
            "display_step_mm", default=usual.display_step_mm, low=0.0001, high=1.0
        ),
        motor_step_mm=machine.number(
            "motor_step_mm", default=usual.motor_step_mm, low=0.0, high=0.5
        ),
        repeatability_um=machine.number(
            "repeatability_um", default=usual.repeatability_um, low=0.1, high=500.0
        ),
        reversal_um=machine.number("reversal_um", low=0.0, high=2000.0)
        if machine.has("reversal_um")
        else None,
    )
    machine.finish()
    return figures


def _parse_stored(fields: Fields) -> dict[int, OffsetMm]:
    if not fields.has("stored_raw"):
        return {}
    table = fields.table("stored_raw")
    stored: dict[int, OffsetMm] = {}
    for name in table.names():
        if not (name.isascii() and name.isdigit() and len(name) <= 3):
            raise table.refuse(name, "is not the number of a tool")
        if int(name) in stored:
            raise table.refuse(name, "names a tool a second time")
        stored[int(name)] = OffsetMm(*table.numbers(name, (3,), low=-FARTHEST_MM, high=FARTHEST_MM))
    return stored


def _parse_sighting(fields: Fields, tool: int | None) -> JobSighting:
    number = fields.integer("tool", high=999) if tool is None else tool
    frame, centre = _parse_seen(fields)
    says = fields.has("in_display_mm")
    position = fields.numbers("position_mm", (2, 3), low=-FARTHEST_MM, high=FARTHEST_MM)
    sighting = JobSighting(
        path=fields.path,
        tool=number,
        frame=frame,
        centre_px=centre,
        position=Position(*position),
        in_display_mm=OffsetMm(
            *fields.numbers(
                "in_display_mm", (3,), default=(0.0, 0.0, 0.0), low=-FARTHEST_MM, high=FARTHEST_MM
            )
        ),
        says_in_display=says,
        approach=_parse_approach(fields),
        sigma_px=fields.number("sigma_px", low=1e-6, high=100.0)
        if fields.has("sigma_px")
        else None,
        struck=fields.flag("struck", default=False),
    )
    fields.finish()
    return sighting


def _parse_seen(fields: Fields) -> tuple[str | None, PointPx | None]:
    has_frame, has_centre = fields.has("frame"), fields.has("center_px")
    if has_frame and has_centre:
        raise fields.refuse("center_px", "stands beside a frame; give the one or the other")
    if has_frame:
        return fields.text("frame"), None
    if not has_centre:
        raise fields.refuse("frame", "is missing; give a frame or a center_px")
    return None, PointPx(*fields.numbers("center_px", (2,), low=-1e6, high=1e6))


def _parse_approach(fields: Fields) -> Approach:
    """Read ``+X-Y``: from which side the last motion of each axis came; one axis may do."""
    if not fields.has("approach"):
        return Approach()
    text = fields.text("approach").replace(" ", "").upper()
    sides = {"X": 0, "Y": 0}
    pairs = [text[i : i + 2] for i in range(0, len(text), 2)]
    for pair in pairs:
        if len(pair) != 2 or pair[0] not in "+-" or pair[1] not in sides or sides[pair[1]]:
            raise fields.refuse("approach", "has to look like +X+Y, -X+Y or +X")
        sides[pair[1]] = 1 if pair[0] == "+" else -1
    return Approach(sides["X"], sides["Y"])


def _check_tools(job: JobFile, fields: Fields) -> None:
    counting = [s.tool for s in job.sightings if not s.struck]
    tools = set(counting)
    if len(tools | set(job.stored_raw)) > MAX_TOOLS:
        raise fields.refuse(
            "sightings", f"names {len(tools)} tools; a machine has at most {MAX_TOOLS}"
        )
    if job.reference_tool not in tools:
        raise fields.refuse("reference_tool", "is never sighted; sight the reference tool first")
    if len(tools) < 2:
        raise fields.refuse(
            "sightings", "name one tool only; offsets need the reference and one more tool"
        )
    if counting[0] != job.reference_tool:
        raise fields.refuse(
            "sightings",
            f"begin with tool {counting[0]}; the target is the first sighting of the reference, "
            f"tool {job.reference_tool}, so sight that first",
        )
