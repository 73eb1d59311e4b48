"""A profile is checked field by field; the message names file, field and value."""

from __future__ import annotations

from contextlib import suppress
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.dialects.values import Layout, OffsetMm
from app.errors import InputError
from app.job.profile import parse_profile

GOOD: dict[str, Any] = {
    "schema": 1,
    "name": "Avocet",
    "layout": "fixed-nozzles",
    "dialect": "marlin",
    "tools": [
        {"number": 0},
        {"number": 1, "nominal_mm": [18.0, 0.0], "stored_raw": [18.1, -0.05, 0]},
    ],
}


def test_a_short_profile_takes_the_layouts_defaults() -> None:
    profile = parse_profile(GOOD)
    assert profile.layout is Layout.FIXED_NOZZLES
    assert profile.pickup_repeatability_um == 0.0
    assert profile.vector_limit_mm == 1.0
    assert profile.tool(1).stored_raw == OffsetMm(18.1, -0.05, 0.0)
    assert profile.reversal_um is None


def tool(number: int) -> dict[str, Any]:
    return {"number": number}


@pytest.mark.parametrize(
    ("change", "path", "says"),
    [
        ({"schema": 2}, "schema", "another version"),
        ({"schema": None}, "schema", "missing"),
        ({"name": ""}, "name", "text"),
        ({"layout": "gantry"}, "layout", "one of"),
        ({"tools": [tool(0)]}, "tools", "2 to 16"),
        ({"tools": [tool(n) for n in range(200)]}, "tools", "2 to 16"),
        ({"tools": [tool(0), tool(0)]}, "tools", "more than once"),
        ({"tools": [tool(0), {"number": 1, "colour": "red"}]}, "tools[1].colour", "not known"),
        ({"tools": [tool(0), {"number": "1"}]}, "tools[1].number", "whole number"),
        ({"tools": {"0": {}}}, "tools", "a list"),
        ({"reference_tool": 7}, "reference_tool", "among the tools"),
        ({"display_step_mm": 0}, "display_step_mm", "lie from"),
        ({"display_step_mm": float("nan")}, "display_step_mm", "finite"),
        ({"display_step_mm": "0.01"}, "display_step_mm", "a number"),
        ({"display_step_mm": True}, "display_step_mm", "a number"),
        ({"whole_steps": 1}, "whole_steps", "true or false"),
        ({"travel_mm": {"x": [200, 0], "y": [0, 1], "z": [0, 1]}}, "travel_mm.x", "lower"),
        ({"travel_mm": {"x": [0, 200], "y": [0, 1]}}, "travel_mm.z", "missing"),
        ({"backlash": 30}, "backlash", "not known"),
    ],
)
def test_a_wrong_field_is_named(change: dict[str, Any], path: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_profile(GOOD | change, file="avocet.toml")
    assert caught.value.path == path
    assert says in caught.value.message
    assert caught.value.message.startswith(f"avocet.toml: {path} ")
    assert caught.value.exit_status == 2


def test_anything_but_a_table_is_refused() -> None:
    with pytest.raises(InputError, match="table of fields"):
        parse_profile([])  # type: ignore[arg-type]  # what a broken file may hold


JUNK = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner),
    max_leaves=8,
)


@given(st.sampled_from([*GOOD, "reference_tool", "travel_mm", "reversal_um", "x"]), JUNK)
def test_no_value_raises_anything_but_our_error(field: str, value: object) -> None:
    # Anything but our own error fails the test.
    with suppress(InputError):
        parse_profile(GOOD | {field: value})
