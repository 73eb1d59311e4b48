"""What leaves the program: JSON, tables and text, read back by strangers' readers."""

from __future__ import annotations

import configparser
import csv
import io
import json

import pytest

from app.dialects import DIALECTS
from app.dialects.values import NozzleVectorMm, OffsetMm, PasteText
from app.export import offsets_csv, offsets_object, offsets_table, paste_text
from app.export.tables import BYTE_ORDER_MARK
from app.export.text import CAUTION, SIMULATED
from app.job.checks import Finding
from app.job.offsets import Solution
from app.job.stored import StoredOffsets, stored_offsets
from tests.job.paper_jobs import evidence_of, observe, plain_job, solved

FAILED = Finding(
    code="closure", message="The reference came back elsewhere.", path="entry 9", fails=True
)
OF_A_TOOL = Finding(code="vector-beyond-layout", message="Too far, it seems.", path="tool 1")
STORED = {0: OffsetMm(), 1: OffsetMm(-0.3, 0.1, 0.0), 2: OffsetMm(0.2, -0.4, 0.0)}
HOME_X = {"marlin-two-carriages": 353.0, "klipper-endstop": 300.0}


@pytest.fixture(scope="module")
def solution() -> Solution:
    return solved(plain_job())


@pytest.fixture(scope="module")
def stored(solution: Solution) -> StoredOffsets:
    return stored_offsets("reprapfirmware", STORED, 0, solution)


class TestJson:
    def test_it_has_just_the_fields_of_schema_1(
        self, solution: Solution, stored: StoredOffsets
    ) -> None:
        whole = offsets_object(solution, [FAILED], stored)
        assert list(whole) == [
            "schema",
            "pixel_scale_px_per_mm",
            "residual_um",
            "closure_um",
            "tools",
            "warnings",
            "text",
        ]
        tools = whole["tools"]
        assert isinstance(tools, list)
        for tool in tools:
            assert list(tool) == [
                "tool",
                "nozzle_vector_mm",
                "expanded_uncertainty_mm",
                "covariance_mm2",
                "largest_contributor",
                "new_stored",
            ]
        text = whole["text"]
        assert isinstance(text, dict)
        assert list(text) == ["settings", "moves"]

    def test_its_numbers_are_the_jobs(self, solution: Solution, stored: StoredOffsets) -> None:
        whole = json.loads(json.dumps(offsets_object(solution, [FAILED], stored), allow_nan=False))
        assert whole["schema"] == 1
        assert [row[:] for row in whole["pixel_scale_px_per_mm"]] == [
            pytest.approx([180.0, 12.0], abs=1e-3),
            pytest.approx([-11.0, 182.0], abs=1e-3),
        ]
        assert whole["closure_um"] == pytest.approx([0.0, 0.0], abs=1e-6)
        assert len(whole["residual_um"]) == 2
        reference, one, two = whole["tools"]
        assert reference["tool"] == 0
        assert reference["nozzle_vector_mm"] == [0.0, 0.0, 0.0]
        assert reference["largest_contributor"] is None
        assert reference["new_stored"] == [0.0, 0.0, 0.0]
        assert one["nozzle_vector_mm"] == [
            pytest.approx(-0.34, abs=1e-6),
            pytest.approx(0.12, abs=1e-6),
            None,
        ]
        assert one["new_stored"] == pytest.approx([-0.34, 0.12, 0.0], abs=1e-6)
        assert one["expanded_uncertainty_mm"][2] is None
        covariance = solution.tool(2).covariance_mm2
        assert two["covariance_mm2"] == [
            [covariance.xx, covariance.xy],
            [covariance.xy, covariance.yy],
        ]
        assert whole["warnings"] == [
            {
                "code": "closure",
                "message": "The reference came back elsewhere.",
                "path": "entry 9",
            }
        ]
        assert whole["text"]["settings"].startswith("G10 P1 X-0.340 Y0.120")

    def test_without_a_firmware_there_is_neither_text_nor_stored_value(
        self, solution: Solution
    ) -> None:
        whole = offsets_object(solution, [], None)
        assert "text" not in whole
        assert "new_stored" not in json.dumps(whole)

    def test_one_sighting_of_the_reference_gives_no_closure(self) -> None:
        once = solved(evidence_of(observe(0, (150.0, 100.0)), observe(1, (150.3, 99.9))))
        assert offsets_object(once, [], None)["closure_um"] is None

    def test_the_bench_is_marked_and_a_machine_is_not(self, solution: Solution) -> None:
        assert offsets_object(solution, [], None, simulated=True)["simulated"] is True
        assert "simulated" not in offsets_object(solution, [], None)


def rows(text: str) -> list[dict[str, str]]:
    assert text.startswith(BYTE_ORDER_MARK)
    return list(csv.DictReader(io.StringIO(text.removeprefix(BYTE_ORDER_MARK), newline="")))


class TestCsv:
    def test_it_reads_back(self, solution: Solution, stored: StoredOffsets) -> None:
        table = rows(offsets_csv(solution, [FAILED, OF_A_TOOL], stored))
        assert [row["tool"] for row in table] == ["0", "1", "2"]
        assert table[0]["largest contributor"] == "reference"
        assert table[1]["vector X (mm)"] == "-0.3400"
        assert table[1]["vector Y (mm)"] == "0.1200"
        assert table[1]["vector Z (mm)"] == ""
        assert table[1]["old stored X"] == "-0.3000"
        assert table[1]["new stored X"] == "-0.3400"
        expanded = solution.tool(1).expanded_mm[0]
        assert float(table[1]["U X (mm)"]) == pytest.approx(expanded, abs=5e-5)

    def test_findings_stand_at_their_tool_and_general_ones_at_all(
        self, solution: Solution, stored: StoredOffsets
    ) -> None:
        table = rows(offsets_csv(solution, [FAILED, OF_A_TOOL], stored))
        assert [row["warnings"] for row in table] == [
            "closure",
            "closure vector-beyond-layout",
            "closure",
        ]

    def test_without_a_firmware_the_stored_cells_are_empty(self, solution: Solution) -> None:
        table = rows(offsets_csv(solution, [], None))
        assert {row["new stored X"] for row in table} == {""}

    def test_the_bench_is_marked_in_every_row(self, solution: Solution) -> None:
        marked = rows(offsets_csv(solution, [], None, simulated=True))
        assert [row["simulated"] for row in marked] == ["yes"] * 3
        assert "simulated" not in rows(offsets_csv(solution, [], None))[0]

    def test_lines_end_as_rfc_4180_says_and_no_zero_is_negative(self, solution: Solution) -> None:
        text = offsets_csv(solution, [], None)
        assert text.count("\r\n") == text.count("\n") == 4
        assert "-0.0000" not in text


def pasted(name: str) -> PasteText:
    vectors = {1: NozzleVectorMm(-0.34, 0.12, -0.05)}
    old = {0: OffsetMm(), 1: OffsetMm(x=HOME_X.get(name, 0.0))}
    dialect = DIALECTS[name]
    new = dialect.new_stored(vectors=vectors, stored_raw=old, reference_tool=0)
    return dialect.text(new=new, stored_raw=old, reference_tool=0, z_measured=True)


COMMENT_OF_FILE = {
    # Marlin source, Marlin/src/gcode/queue.cpp; RepRapFirmware source,
    # src/GCodes/GCodeBuffer/StringParser.cpp: a semicolon.
    "marlin": ";",
    "marlin-two-carriages": ";",
    "reprapfirmware": ";",
    "reprapfirmware-two-carriages": ";",
    # Klipper source, klippy/configfile.py takes both, klippy/gcode.py the semicolon only.
    "klipper-macro": ";",
    "klipper-saved-variables": ";",
    "klipper-endstop": ";",
    # Smoothieware source, src/libs/ConfigSources/FileConfigSource.cpp: a hash only.
    "smoothieware": "#",
    # Typed in by a person.
    "slicer": ";",
}


class TestPasteText:
    @pytest.mark.parametrize("name", DIALECTS)
    def test_warnings_and_notes_travel_as_comments_that_the_place_takes(self, name: str) -> None:
        text = pasted(name)
        lines = paste_text(text, [FAILED, OF_A_TOOL]).splitlines()
        mark = COMMENT_OF_FILE[name]
        assert lines[0] == f"{mark} CHECK FAILED: The reference came back elsewhere."
        assert lines[1] == f"{mark} Too far, it seems."
        notes = lines[2 : 2 + len(text.notes)]
        assert notes == [f"{mark} {note}" for note in text.notes]
        assert "\n".join(lines).find(text.settings) > 0

    @pytest.mark.parametrize("name", DIALECTS)
    def test_moves_stand_last_under_their_caution(self, name: str) -> None:
        text = pasted(name)
        whole = paste_text(text, [])
        if text.moves:
            assert whole.endswith(f"\n\n; {CAUTION}\n{text.moves}\n")
        else:
            assert CAUTION not in whole

    @pytest.mark.parametrize("name", DIALECTS)
    def test_the_bench_is_marked_first(self, name: str) -> None:
        first = paste_text(pasted(name), [FAILED], simulated=True).splitlines()[0]
        assert first == f"{COMMENT_OF_FILE[name]} {SIMULATED}"
        assert SIMULATED not in paste_text(pasted(name), [FAILED])

    def test_klippers_own_kind_of_reader_sees_no_comment(self) -> None:
        """Klipper reads printer.cfg by this parser with these comment marks."""
        whole = paste_text(pasted("klipper-endstop"), [FAILED], simulated=True)
        settings = whole.split(f"; {CAUTION}")[0].split("# in [gcode_macro")[0]
        reader = configparser.RawConfigParser(strict=False, inline_comment_prefixes=(";", "#"))
        reader.read_string(settings)
        assert reader.sections() == ["dual_carriage"]
        assert dict(reader["dual_carriage"]) == {"position_endstop": "299.660"}

    def test_klippers_console_gets_no_line_that_begins_with_a_hash_before_a_command(self) -> None:
        whole = paste_text(pasted("klipper-saved-variables"), [FAILED], simulated=True)
        sent = whole.split("# in [gcode_macro")[0].splitlines()
        assert all(line.startswith((";", "SAVE_VARIABLE ")) for line in sent)

    def test_smoothiewares_two_blocks_each_have_their_own_kind_of_comment(self) -> None:
        whole = paste_text(pasted("smoothieware"), [FAILED], simulated=True)
        in_file, sent = whole.split("; or, until the next reset:")
        assert all(line.startswith(("#", "extruder.")) for line in in_file.splitlines())
        assert all(line.startswith("G10 ") for line in sent.split("\n") if line)

    @pytest.mark.parametrize("name", [n for n in DIALECTS if DIALECTS[n].title != "The slicer"])
    def test_each_line_is_a_comment_a_heading_or_a_command(self, name: str) -> None:
        for line in paste_text(pasted(name), [FAILED], simulated=True).splitlines():
            assert line == "" or line[0] in ";#[" or line.split()[0][0].isalpha()

    def test_a_message_of_two_lines_stays_inside_its_comment(self) -> None:
        message = "First.\nG28 X"
        found = Finding(code="odd", message=message)
        whole = paste_text(PasteText(settings="M500", moves=""), [found])
        assert whole == "; First. G28 X\nM500\n"

    def test_nothing_to_set_leaves_what_there_is_to_know(self) -> None:
        text = PasteText(settings="", moves="", notes=("Only a note.",))
        assert paste_text(text, []) == "; Only a note.\n"


class TestTable:
    def test_it_shows_vectors_uncertainty_and_closure(
        self, solution: Solution, stored: StoredOffsets
    ) -> None:
        table = offsets_table(solution, stored)
        lines = table.splitlines()
        assert lines[1].split() == ["0", "reference"]
        assert lines[2].split()[:3] == ["1", "-0.3400", "+0.1200"]
        assert "closure: X +0.0 um, Y +0.0 um" in table.replace("-0.0 um", "+0.0 um")
        assert max(map(len, lines)) <= 80
        assert lines[-2].split() == [
            *("1", "-0.300", "+0.100", "+0.000"),
            *("-0.340", "+0.120", "+0.000"),
        ]

    def test_without_a_firmware_there_is_no_stored_part(self, solution: Solution) -> None:
        assert "stored" not in offsets_table(solution, None)
