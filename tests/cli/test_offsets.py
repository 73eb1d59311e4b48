"""`tipwright offsets`: a whole job from its file, and what is said of files that are no use."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from tests.cli.conftest import Command, Json, a_job, entry_of, paper_machine

Write = Callable[[Mapping[str, object] | str], Path]


def test_the_result_has_the_keys_that_are_promised(tipwright: Command, job_file: Write) -> None:
    told = tipwright("offsets", job_file(a_job()), "--json")
    (result,) = told.objects
    assert told.status == 0, told.err
    assert list(result) == [
        "schema", "pixel_scale_px_per_mm", "residual_um", "closure_um", "tools", "warnings", "text",
    ]  # fmt: skip
    tools = result["tools"]
    assert isinstance(tools, list)
    for tool in tools:
        assert list(tool) == [
            "tool", "nozzle_vector_mm", "expanded_uncertainty_mm", "covariance_mm2",
            "largest_contributor", "new_stored",
        ]  # fmt: skip
    text = result["text"]
    assert isinstance(text, dict)
    assert list(text) == ["settings", "moves"]


def test_the_vectors_are_those_of_the_paper_machine(tipwright: Command, job_file: Write) -> None:
    (result,) = tipwright("offsets", job_file(a_job()), "--json").objects
    tools = result["tools"]
    assert isinstance(tools, list)
    found = {tool["tool"]: tuple(tool["nozzle_vector_mm"][:2]) for tool in tools}
    for tool, vector in paper_machine().vectors_mm.items():
        assert found[tool] == pytest.approx(vector, abs=1e-6)
    assert result["closure_um"] == pytest.approx([0.0, 0.0], abs=1e-3)


def test_without_a_dialect_there_is_no_text_and_nothing_to_store(
    tipwright: Command, job_file: Write
) -> None:
    (result,) = tipwright("offsets", job_file(a_job(dialect=None)), "--json").objects
    assert "text" not in result
    tools = result["tools"]
    assert isinstance(tools, list)
    assert all("new_stored" not in tool for tool in tools)


def test_people_get_a_table_and_the_text_to_paste(tipwright: Command, job_file: Write) -> None:
    told = tipwright("offsets", job_file(a_job()))
    assert told.status == 0
    assert "-0.3400" in told.out
    assert "G10 P1" in told.out


def test_the_budget_adds_up_to_the_uncertainty_that_is_shown(
    tipwright: Command, job_file: Write
) -> None:
    ended = tipwright("offsets", "--budget", str(job_file(a_job())))
    whole = tipwright("offsets", "--json", str(job_file(a_job())))
    block = ended.out[ended.out.index("tool 1   u(X) um") :].splitlines()
    end = next(i for i, line in enumerate(block) if line.split()[:1] == ["U"])
    # Names may hold blanks, so the figures are found by their columns.
    shown = [float(line[16:22]) for line in block[1:end]]
    tool = json.loads(whole.out)["tools"][1]
    variance = tool["covariance_mm2"][0][0] * 1e6
    assert sum(u**2 for u in shown) == pytest.approx(variance, rel=0.01)
    assert float(block[end].split()[1]) == pytest.approx(
        tool["expanded_uncertainty_mm"][0] * 1e3, abs=0.06
    )


def test_a_reference_that_did_not_come_back_fails_the_check(
    tipwright: Command, job_file: Write
) -> None:
    job = a_job()
    last = entry_of(job, "sightings", 3)
    centre = last["center_px"]
    assert isinstance(centre, list)
    last["center_px"] = [centre[0] + 30.0, centre[1]]
    told = tipwright("offsets", job_file(job), "--json")
    (result,) = told.objects
    assert told.status == 1
    warnings = result["warnings"]
    assert isinstance(warnings, list)
    closure = next(found for found in warnings if found["code"] == "closure")
    assert closure["path"] == "sightings[3]"
    assert "check failed" in told.err


def test_a_mistyped_jog_is_named_with_what_the_picture_says(
    tipwright: Command, job_file: Write
) -> None:
    job = a_job()
    entry_of(job, "scale_jogs", 3)["position_mm"] = [149.62, 100.36]
    told = tipwright("offsets", job_file(job), "--json")
    assert told.status == 2
    assert told.error["path"] == "scale_jogs[3].position_mm"
    assert told.error["value"] == [149.62, 100.36]
    assert "4th position reads X 149.620; the picture says 149.520. Retype" in told.err
    assert told.err.count("reads") == 1


@pytest.mark.parametrize(
    "text",
    ["", "{", "[1, 2", '{"schema": 1,}', "\ufeff{}", "not json", "[" * 100_000, "1" * 5000],
    ids=["empty", "open", "list", "comma", "mark", "words", "deep", "digits"],
)
def test_what_is_no_json_is_refused_with_the_name_of_the_file(
    tipwright: Command, job_file: Write, text: str
) -> None:
    file = job_file(text)
    told = tipwright("offsets", file, "--json")
    assert told.status == 2
    assert told.error["file"] == str(file)
    assert str(file) in told.err


def test_a_missing_file_a_folder_and_bytes_are_refused_by_name(
    tipwright: Command, tmp_path: Path
) -> None:
    latin = tmp_path / "latin.json"
    latin.write_bytes(b'{"layout": "\xe4"}')
    for file in (tmp_path / "missing.json", tmp_path, latin):
        told = tipwright("offsets", file, "--json")
        assert told.status == 2
        assert told.error["file"] == str(file)
        assert str(file) in told.err


@pytest.mark.parametrize(
    ("changes", "path", "shown"),
    [
        ({"schema": 2}, "schema", "2"),
        ({"schema": None}, "schema", "missing"),
        ({"units": "inch"}, "units", "25.4"),
        ({"units": "cm"}, "units", "cm"),
        ({"units": None}, "units", "missing"),
        ({"layout": "belt"}, "layout", "belt"),
        ({"dialect": "morse"}, "dialect", "morse"),
        ({"reference_tool": "0"}, "reference_tool", "text"),
        ({"reference_tool": 7}, "reference_tool", "7"),
        ({"reference_tool": True}, "reference_tool", "True"),
        ({"machine": {"motor_step_mm": "fine"}}, "machine.motor_step_mm", "fine"),
        ({"machine": {"step_mm": 0.1}}, "machine.step_mm", "known"),
        ({"stored_raw": {"one": [0, 0, 0]}}, "stored_raw.one", "number of a tool"),
        ({"stored_raw": {"1": [0, 0]}}, "stored_raw.1", "3 numbers"),
        ({"stored_raw": {"1": [0, 0, 1e9]}}, "stored_raw.1[2]", "1000000000"),
        ({"scale_jogs": None}, "scale_jogs", "missing"),
        ({"scale_jogs": {}}, "scale_jogs", "list"),
        ({"sightings": []}, "reference_tool", "never sighted"),
        ({"comment": "mine"}, "comment", "known"),
    ],
)
def test_a_field_that_cannot_be_is_named_with_file_and_value(
    tipwright: Command, job_file: Write, changes: Json, path: str, shown: str
) -> None:
    file = job_file(a_job(**changes))
    told = tipwright("offsets", file, "--json")
    assert told.status == 2
    assert told.error["file"] == str(file)
    assert told.error["path"] == path
    assert path in told.err
    assert shown in told.err


@pytest.mark.parametrize(
    ("changes", "path", "shown"),
    [
        ({"position_mm": [150.0]}, "sightings[1].position_mm", "2 or 3 numbers"),
        ({"position_mm": None}, "sightings[1].position_mm", "missing"),
        ({"position_mm": ["150", 100]}, "sightings[1].position_mm[0]", "text"),
        ({"position_mm": [1e300, 100]}, "sightings[1].position_mm[0]", "1e+300"),
        ({"center_px": None}, "sightings[1].frame", "missing"),
        ({"frame": "tip.png"}, "sightings[1].center_px", "one or the other"),
        ({"approach": "north"}, "sightings[1].approach", "north"),
        ({"sigma_px": -1.0}, "sightings[1].sigma_px", "-1"),
        ({"struck": "no"}, "sightings[1].struck", "no"),
        ({"tool": None}, "sightings[1].tool", "missing"),
        ({"tool": 1.5}, "sightings[1].tool", "1.5"),
        ({"centre_px": [1, 2]}, "sightings[1].centre_px", "known"),
    ],
)
def test_a_sighting_that_cannot_be_is_named_by_its_place(
    tipwright: Command, job_file: Write, changes: Json, path: str, shown: str
) -> None:
    job = a_job()
    entry = entry_of(job, "sightings", 1)
    entry.update(changes)
    for name in [name for name, value in changes.items() if value is None]:
        del entry[name]
    told = tipwright("offsets", job_file(job), "--json")
    assert told.status == 2
    assert told.error["path"] == path
    assert shown in told.err


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_a_number_that_is_none_is_refused(tipwright: Command, job_file: Write, number: str) -> None:
    text = json.dumps(a_job()).replace(
        '"position_mm": [150.6, 100.0]', f'"position_mm": [{number}, 100.0]'
    )
    assert number in text
    told = tipwright("offsets", job_file(text), "--json")
    assert told.status == 2
    assert told.error["path"] == "scale_jogs[1].position_mm[0]"


def test_a_field_that_stands_twice_is_refused(tipwright: Command, job_file: Write) -> None:
    text = json.dumps(a_job()).replace('"units": "mm"', '"units": "mm", "units": "mm"')
    file = job_file(text)
    told = tipwright("offsets", file, "--json")
    assert told.status == 2
    assert told.error["path"] == "units"
    assert told.error["file"] == str(file)


def test_one_tool_alone_has_no_offset(tipwright: Command, job_file: Write) -> None:
    job = a_job()
    told = tipwright(
        "offsets", job_file(job | {"sightings": [entry_of(job, "sightings", 0)]}), "--json"
    )
    assert told.status == 2
    assert told.error["path"] == "sightings"
    assert "one tool only" in told.err


def test_two_hundred_tools_are_too_many(tipwright: Command, job_file: Write) -> None:
    job = a_job()
    sightings = [entry_of(job, "sightings", 0) | {"tool": tool} for tool in range(200)]
    told = tipwright("offsets", job_file(job | {"sightings": sightings}), "--json")
    assert told.status == 2
    assert "200 tools" in told.err


@pytest.mark.parametrize(
    "places",
    [
        [(0.0, 0.0), (0.2, 0.0), (0.4, 0.0), (0.6, 0.0), (0.8, 0.0)],
        [(0.0, 0.0), (0.002, 0.0), (0.002, 0.002), (0.0, 0.002), (0.001, 0.001)],
        [(0.0, 0.0), (0.6, 0.0)],
        [],
    ],
    ids=["in a line", "short", "two", "none"],
)
def test_jogs_that_give_no_scale_are_refused(
    tipwright: Command, job_file: Write, places: list[tuple[float, float]]
) -> None:
    paper = paper_machine()
    jogs = [
        {
            "center_px": list(paper.centre(0, (150.0 + dx, 100.0 + dy))),
            "position_mm": [150.0 + dx, 100.0 + dy],
        }
        for dx, dy in places
    ]
    told = tipwright("offsets", job_file(a_job(scale_jogs=jogs)), "--json")
    assert told.status == 2
    assert str(told.error["code"]).startswith("scale-")
    assert "scale_jogs" in str(told.error["path"])


def test_a_frame_that_is_missing_or_no_picture_is_named_by_its_place(
    tipwright: Command, job_file: Write, tmp_path: Path
) -> None:
    (tmp_path / "words.png").write_text("no picture")
    for frame in ("missing.png", "words.png", "."):
        job = a_job()
        entry = entry_of(job, "sightings", 2)
        del entry["center_px"]
        entry["frame"] = frame
        told = tipwright("offsets", job_file(job), "--json")
        assert told.status == 2
        assert told.error["path"] == "sightings[2].frame"
        assert told.error["value"] == frame


def test_a_struck_sighting_is_left_out_unread(tipwright: Command, job_file: Write) -> None:
    job = a_job()
    sightings = job["sightings"]
    assert isinstance(sightings, list)
    sightings.insert(2, {"tool": 1, "frame": "missing.png", "position_mm": [1, 1], "struck": True})
    told = tipwright("offsets", job_file(job), "--json")
    assert told.status == 0, told.err


def test_an_offset_that_the_firmware_cannot_have_is_named(
    tipwright: Command, job_file: Write
) -> None:
    """Marlin's hotend 0 has no offset (Marlin source, HOTEND_OFFSET_X begins with 0.0)."""
    file = job_file(a_job(dialect="marlin", stored_raw={"0": [0.5, 0, 0]}))
    told = tipwright("offsets", file, "--json")
    assert told.status == 1
    assert "check failed: Marlin forgets an offset of T0" in told.err
    assert "text" in told.objects[0]
