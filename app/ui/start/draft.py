"""A machine while it is being described: texts as typed, and what they amount to. No Qt."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from app.dialects.registry import DIALECTS
from app.dialects.values import Layout
from app.errors import InputError
from app.job.profile import (
    MAX_TOOLS,
    PICKUP_REPEATABILITY_UM,
    SCHEMA,
    VECTOR_LIMIT_MM,
    Profile,
    Tool,
    parse_profile,
)

DIALECT_OF = {
    Layout.INDEPENDENT_CARRIAGES: "marlin-two-carriages",
    Layout.TOOL_CHANGER: "klipper-macro",
    Layout.FIXED_NOZZLES: "marlin",
    Layout.LIFTING_NOZZLE: "marlin",
}
"""What is often found with a layout (common practice, no source); the person corrects it."""

TOOL_COLUMNS = ("number", "bore_mm", "x", "y", "z", "nominal_x", "nominal_y")

NUMBERS = (
    "display_step_mm",
    "motor_step_mm",
    "repeatability_um",
    "reversal_um",
    "pickup_repeatability_um",
    "tolerance_mm",
    "vector_limit_mm",
)
WHOLE = ("reference_tool", "sightings_per_tool")
FLAGS = (
    "homes_between_tools",
    "shows_coordinates",
    "display_includes_offset",
    "whole_steps",
    "z_by_focus",
)
_TEXTS = {
    "display_step_mm": "0.01",
    "motor_step_mm": "0.0125",
    "repeatability_um": "5",
    "reversal_um": "",
    "pickup_repeatability_um": "5",
    "tolerance_mm": "0.03",
    "vector_limit_mm": "3",
    "reference_tool": "0",
    "sightings_per_tool": "1",
}
_FLAGS = {
    "homes_between_tools": False,
    "shows_coordinates": True,
    "display_includes_offset": True,
    "whole_steps": False,
    "z_by_focus": False,
}

LABELS: Mapping[str, str] = {
    "name": "Name",
    "layout": "Layout",
    "dialect": "Firmware",
    "tools": "Tools",
    "reference_tool": "Reference tool",
    "homes_between_tools": "Homes between tools",
    "shows_coordinates": "Shows coordinates",
    "display_includes_offset": "Display counts offsets in",
    "whole_steps": "Moves in whole steps",
    "display_step_mm": "Display step, mm",
    "motor_step_mm": "Motor step, mm",
    "repeatability_um": "Repeatability, um",
    "reversal_um": "Backlash, um",
    "pickup_repeatability_um": "Pick-up, um",
    "travel_mm": "Travel, mm",
    "sightings_per_tool": "Sightings per tool",
    "tolerance_mm": "Good enough, mm",
    "vector_limit_mm": "Nozzle limit, mm",
    "z_by_focus": "Heights by focus",
}
"""Every field of the form, in its order, with its label."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ToolDraft:
    """One row of the table of tools, as typed."""

    number: str
    bore_mm: str = "0.4"
    x: str = "0"
    y: str = "0"
    z: str = "0"
    nominal_x: str = "0"
    nominal_y: str = "0"


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """A machine as typed.

    Attributes
    ----------
    name, layout, dialect, tools
        As in a profile.
    texts
        What stands in the fields of `NUMBERS` and `WHOLE`, by name; empty for the default.
    flags
        What is ticked of `FLAGS`, by name.
    travel_mm
        Lowest and highest X, then Y, then Z; all empty when not known.
    """

    name: str = ""
    layout: Layout = Layout.TOOL_CHANGER
    dialect: str = "klipper-macro"
    tools: tuple[ToolDraft, ...] = (ToolDraft(number="0"), ToolDraft(number="1"))
    texts: Mapping[str, str] = field(default_factory=lambda: dict(_TEXTS))
    flags: Mapping[str, bool] = field(default_factory=lambda: dict(_FLAGS))
    travel_mm: tuple[str, ...] = ("", "", "", "", "", "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Complaint:
    """What is wrong with a draft.

    Attributes
    ----------
    field
        Of `LABELS`.
    row, column
        Where in the table of tools; None outside it.
    sentence
        What is wrong, in words.
    """

    field: str
    sentence: str
    row: int | None = None
    column: int | None = None


def new_draft(layout: Layout = Layout.TOOL_CHANGER) -> Draft:
    """Return what to begin a machine of this layout with."""
    texts = {
        "pickup_repeatability_um": f"{PICKUP_REPEATABILITY_UM[layout]:g}",
        "vector_limit_mm": f"{VECTOR_LIMIT_MM[layout]:g}",
    }
    flags = {"homes_between_tools": layout is Layout.INDEPENDENT_CARRIAGES}
    return Draft(
        layout=layout,
        dialect=DIALECT_OF[layout],
        texts=_TEXTS | texts,
        flags=_FLAGS | flags,
    )


def with_layout(draft: Draft, layout: Layout) -> Draft:
    """Return the draft with another layout; what was left at the old one's default follows."""
    before, after = new_draft(draft.layout), new_draft(layout)
    texts = {
        name: after.texts[name] if text == before.texts[name] else text
        for name, text in draft.texts.items()
    }
    flags = {
        name: after.flags[name] if flag == before.flags[name] else flag
        for name, flag in draft.flags.items()
    }
    dialect = after.dialect if draft.dialect == before.dialect else draft.dialect
    return replace(draft, layout=layout, dialect=dialect, texts=texts, flags=flags)


def draft_of(profile: Profile) -> Draft:
    """Return a known machine for editing."""
    texts = {name: _text(getattr(profile, name)) for name in (*NUMBERS, *WHOLE)}
    flags = {name: getattr(profile, name) for name in FLAGS}
    travel = tuple(_text(end) for pair in profile.travel_mm or () for end in pair)
    return Draft(
        name=profile.name,
        layout=profile.layout,
        dialect=profile.dialect,
        tools=tuple(_tool_draft(tool) for tool in profile.tools),
        travel_mm=travel or ("",) * 6,
        texts=texts,
        flags=flags,
    )


def with_tool(draft: Draft) -> Draft:
    """Return the draft with one more tool, numbered after the highest."""
    if len(draft.tools) >= MAX_TOOLS:
        return draft
    numbers = [int(tool.number) for tool in draft.tools if tool.number.strip().isdecimal()]
    tool = ToolDraft(number=str(max(numbers, default=-1) + 1))
    return replace(draft, tools=(*draft.tools, tool))


def without_tool(draft: Draft, row: int) -> Draft:
    """Return the draft without a row of its table."""
    return replace(draft, tools=tuple(tool for at, tool in enumerate(draft.tools) if at != row))


def check(draft: Draft, *, taken: frozenset[str] = frozenset()) -> Profile | Complaint:
    """Return the machine that a draft describes, or what is wrong with it.

    Parameters
    ----------
    taken
        Names that other machines have.
    """
    if not draft.name.strip():
        return Complaint(field="name", sentence="Name has to be a text: give the machine one.")
    if draft.name.strip() in taken:
        return Complaint(
            field="name",
            sentence=f"There is a machine named {draft.name.strip()} already: choose another "
            "name, or go back and edit that one.",
        )
    if draft.dialect not in DIALECTS:
        sentence = f"There is no dialect {draft.dialect!r}: choose one of the list."
        return Complaint(field="dialect", sentence=sentence)
    try:
        return parse_profile(mapping_of(draft))
    except InputError as error:
        return _complaint(error)


def mapping_of(draft: Draft) -> dict[str, object]:
    """Return the draft as the table of a profile file; what is no number stays a text."""
    made: dict[str, object] = {
        "schema": SCHEMA,
        "name": draft.name.strip(),
        "layout": draft.layout.value,
        "dialect": draft.dialect,
        "tools": [_tool_table(tool) for tool in draft.tools],
    }
    for name in (*NUMBERS, *WHOLE):
        text = draft.texts.get(name, "")
        if text.strip():
            made[name] = number_of(text)
    made |= {name: draft.flags[name] for name in FLAGS}
    if any(end.strip() for end in draft.travel_mm):
        ends = [number_of(end) for end in draft.travel_mm]
        made["travel_mm"] = {"x": ends[0:2], "y": ends[2:4], "z": ends[4:6]}
    return made


def number_of(text: str) -> float | int | str:
    """Return the number that a text says, with a decimal point or comma; else the text."""
    plain = text.strip().replace(",", ".")
    if re.fullmatch(r"[+-]?\d{1,9}", plain):
        return int(plain)
    if re.fullmatch(r"[+-]?(\d{1,9}\.?\d*|\.\d+)", plain):
        return float(plain)
    return text.strip()


def _tool_table(tool: ToolDraft) -> dict[str, object]:
    return {
        "number": number_of(tool.number),
        "bore_mm": number_of(tool.bore_mm),
        "stored_raw": [number_of(part or "0") for part in (tool.x, tool.y, tool.z)],
        "nominal_mm": [number_of(part or "0") for part in (tool.nominal_x, tool.nominal_y)],
    }


def _tool_draft(tool: Tool) -> ToolDraft:
    x, y, z = (_text(part) for part in tool.stored_raw)
    nominal_x, nominal_y = (_text(part) for part in tool.nominal_mm)
    return ToolDraft(
        number=str(tool.number),
        bore_mm=_text(tool.bore_mm),
        x=x,
        y=y,
        z=z,
        nominal_x=nominal_x,
        nominal_y=nominal_y,
    )


def _text(value: float | None) -> str:
    """Return a number as short as it can be read back exactly; empty for None."""
    if value is None:
        return ""
    text = repr(value)
    return text.removesuffix(".0")


_IN_TOOL = re.compile(r"tools\[(?P<row>\d+)\](\.(?P<name>\w+)(\[(?P<part>\d)\])?)?")
_COLUMNS = {"number": 0, "bore_mm": 1, "stored_raw": 2, "nominal_mm": 5}


def _complaint(error: InputError) -> Complaint:
    """Return a refusal of the profile's reader as a sentence at a field of the form."""
    path = error.path or ""
    rest = error.message.partition(f": {path} ")[2] or error.message
    # The reader shows texts as Python writes them; a person typed none of the quotes.
    rest = re.sub(r"\(it is '(.*)'\)\.$", r"(it is \1).", rest)
    found = _IN_TOOL.match(path)
    if found is None:
        name = re.split(r"[.\[]", path, maxsplit=1)[0]
        label = LABELS.get(name, path).partition(",")[0]
        if name == "travel_mm" and "." in path:
            label = f"Travel of {path.split('.')[1][0].upper()}"
        return Complaint(field=name if name in LABELS else "name", sentence=f"{label} {rest}")
    row, name = int(found["row"]), found["name"] or "number"
    part = int(found["part"] or 0)
    words = {
        "number": "Number",
        "bore_mm": "Bore",
        "stored_raw": f"Stored {'XYZ'[part]}",
        "nominal_mm": f"Design {'XYZ'[part]}",
    }
    return Complaint(
        field="tools",
        sentence=f"{words.get(name, name)} in row {row + 1} {rest}",
        row=row,
        column=_COLUMNS.get(name, 0) + part,
    )
