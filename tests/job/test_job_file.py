"""A job file is checked field by field."""

from __future__ import annotations

import json
from contextlib import suppress
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.errors import InputError
from app.job.facts import Approach
from app.job.job_file import parse_job, parse_job_text


def sighting(**changes: object) -> dict[str, Any]:
    return {"center_px": [320.0, 240.0], "position_mm": [150.0, 100.0]} | changes


def job(**changes: object) -> dict[str, Any]:
    whole: dict[str, Any] = {
        "schema": 1,
        "units": "mm",
        "reference_tool": 0,
        "scale_jogs": [sighting() for _ in range(5)],
        "sightings": [sighting(tool=0), sighting(tool=1), sighting(tool=0)],
    }
    return whole | changes


def test_the_shortest_job_is_read() -> None:
    read = parse_job(job())
    assert [s.path for s in read.sightings] == ["sightings[0]", "sightings[1]", "sightings[2]"]
    assert read.sightings[0].position.z is None
    assert read.figures.reversal_um is None


@pytest.mark.parametrize(
    ("text", "sides"),
    [("+X+Y", (1, 1)), ("-X +Y", (-1, 1)), ("+y", (0, 1)), ("-Y-X", (-1, -1))],
)
def test_approach_is_read(text: str, sides: tuple[int, int]) -> None:
    read = parse_job(job(scale_jogs=[sighting(approach=text)]))
    assert read.scale_jogs[0].approach == Approach(*sides)


@pytest.mark.parametrize(
    ("change", "path", "says"),
    [
        ({"schema": 3}, "schema", "has to be 1"),
        ({"units": "inch"}, "units", "25.4"),
        ({"units": "m"}, "units", "one of mm"),
        ({"units": None}, "units", "missing"),
        ({"colour": 1}, "colour", "not known"),
        ({"reference_tool": 5}, "reference_tool", "never sighted"),
        ({"reference_tool": 0.5}, "reference_tool", "whole number"),
        ({"sightings": [sighting(tool=0)]}, "sightings", "one tool only"),
        (
            {"sightings": [sighting(tool=n) for n in range(200)]},
            "sightings",
            "at most 16",
        ),
        ({"sightings": [sighting(tool=1), sighting(tool=0)]}, "sightings", "begin with tool 1"),
        ({"sightings": [sighting(tool=0), sighting()]}, "sightings[1].tool", "missing"),
        ({"sightings": {}}, "sightings", "a list"),
        ({"scale_jogs": [sighting(tool=0)]}, "scale_jogs[0].tool", "not known"),
        ({"scale_jogs": [sighting(frame="a.png")]}, "scale_jogs[0].center_px", "one or the other"),
        ({"scale_jogs": [{"position_mm": [0, 0]}]}, "scale_jogs[0].frame", "missing"),
        (
            {"scale_jogs": [sighting(position_mm=[1.0])]},
            "scale_jogs[0].position_mm",
            "2 or 3 numbers",
        ),
        (
            {"scale_jogs": [sighting(position_mm=[1.0, float("nan")])]},
            "scale_jogs[0].position_mm[1]",
            "finite",
        ),
        (
            {"scale_jogs": [sighting(position_mm=[1.0, 150500.0])]},
            "scale_jogs[0].position_mm[1]",
            "lie from",
        ),
        (
            {"scale_jogs": [sighting(position_mm=["150,0", 1.0])]},
            "scale_jogs[0].position_mm[0]",
            "a number",
        ),
        ({"scale_jogs": [sighting(approach="up")]}, "scale_jogs[0].approach", "+X+Y"),
        ({"scale_jogs": [sighting(approach="+X+X")]}, "scale_jogs[0].approach", "+X+Y"),
        ({"scale_jogs": [sighting(sigma_px=0)]}, "scale_jogs[0].sigma_px", "lie from"),
        ({"scale_jogs": [sighting(struck="no")]}, "scale_jogs[0].struck", "true or false"),
        ({"machine": {"backlash_um": 3}}, "machine.backlash_um", "not known"),
        ({"machine": {"display_step_mm": -1}}, "machine.display_step_mm", "lie from"),
        ({"stored_raw": {"T1": [0, 0, 0]}}, "stored_raw.T1", "number of a tool"),
        ({"stored_raw": {"1": [0, 0]}}, "stored_raw.1", "list of 3"),
        ({"stored_raw": {"1": [0, 0, 0], "01": [0, 0, 0]}}, "stored_raw.01", "second time"),
        ({"layout": "delta"}, "layout", "one of"),
    ],
)
def test_a_wrong_field_is_named(change: dict[str, Any], path: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_job(job(**change), file="job.json")
    assert caught.value.path == path
    assert says in caught.value.message
    assert caught.value.file == "job.json"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "not JSON"),
        ("{", "not JSON"),
        ("[1, 2]", "table of fields"),
        ('{"schema": 1, "schema": 1}', "twice"),
        ("[" * 100_000, "cannot be read"),
        ('{"schema": ' + "9" * 5000 + "}", "cannot be read"),
    ],
)
def test_text_that_is_no_job_is_refused(text: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        parse_job_text(text)


def test_nan_in_the_text_is_named() -> None:
    text = json.dumps(job(reference_tool=0)).replace("320.0", "NaN", 1)
    with pytest.raises(InputError) as caught:
        parse_job_text(text)
    assert caught.value.path == "scale_jogs[0].center_px[0]"


def test_struck_sightings_do_not_count_as_tools() -> None:
    with pytest.raises(InputError, match="one tool only"):
        parse_job(job(sightings=[sighting(tool=0), sighting(tool=1, struck=True)]))


JUNK = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner),
    max_leaves=8,
)


@given(st.sampled_from([*job(), "machine", "stored_raw", "layout", "dialect", "z"]), JUNK)
def test_no_field_raises_anything_but_our_error(field: str, value: object) -> None:
    # Anything but our own error fails the test.
    with suppress(InputError):
        parse_job(job() | {field: value})


@given(st.sampled_from([*sighting(), "approach", "in_display_mm", "sigma_px", "struck"]), JUNK)
def test_no_sighting_raises_anything_but_our_error(field: str, value: object) -> None:
    # Anything but our own error fails the test.
    with suppress(InputError):
        parse_job(job(scale_jogs=[sighting() | {field: value}]))


@given(st.text(max_size=40))
def test_no_text_raises_anything_but_our_error(text: str) -> None:
    # Anything but our own error fails the test.
    with suppress(InputError):
        parse_job_text(text)
