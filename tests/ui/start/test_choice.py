from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from app.cameras import ListedCamera
from app.job.facts import PositionMode
from app.ui.start.choice import (
    CameraKind,
    Picked,
    address_problem,
    camera_rows,
    first_camera,
    first_machine,
    machine_rows,
    path_problem,
    possible_mode,
    source_of,
    why_not,
)
from app.ui.start.words import machine_words, run_words, when_words
from tests.job.conftest import make_profile
from tests.ui.start.conftest import DEMO, MICROSCOPE, NOW, RUN, WEBCAM

DUNLIN = make_profile(name="Dunlin")
ROWS = machine_rows([DUNLIN], DEMO)


def test_own_machines_come_first_and_a_demo_machine_of_the_same_name_stays_apart() -> None:
    rows = machine_rows([make_profile(name="Plover")], DEMO)
    assert [row.key for row in rows] == ["known/Plover", "demo/Heron", "demo/Plover", "demo/Avocet"]
    assert [row.simulated for row in rows] == [False, True, True, True]


def test_the_first_machine_is_the_last_one_else_ones_own_else_the_demos() -> None:
    def first(last: str, known: bool = True) -> str:
        rows = ROWS if known else ROWS[1:]
        row = first_machine(rows, last=last, first_demo="demo/Plover")
        assert row is not None
        return row.key

    assert first("demo/Avocet") == "demo/Avocet"
    assert first("known/Gone") == "known/Dunlin"
    assert first("", known=False) == "demo/Plover"
    assert first_machine((), last="", first_demo="demo/Plover") is None


def test_a_simulated_machine_is_looked_at_on_the_bench_or_by_a_stream_only() -> None:
    kinds = [row.kind for row in camera_rows([MICROSCOPE], ROWS[1])]
    assert kinds == [CameraKind.BENCH, CameraKind.NETWORK]
    kinds = [row.kind for row in camera_rows([MICROSCOPE], ROWS[0])]
    assert kinds == [CameraKind.USB, CameraKind.NETWORK, CameraKind.FILE]


def test_a_camera_is_found_again_by_its_name_when_its_number_has_changed() -> None:
    moved = [WEBCAM, ListedCamera(name="Microscope", source="usb:4")]
    rows = camera_rows(moved, ROWS[0])
    found = first_camera(rows, last_source="usb:2", last_name="Microscope")
    assert found is not None
    assert found.source == "usb:4"
    stream = first_camera(rows, last_source="http://cam", last_name="")
    assert stream is not None
    assert stream.kind is CameraKind.NETWORK


@pytest.mark.parametrize(
    "address",
    ["http://192.168.1.20:8080/stream", "https://cam.local/video?q=1", " http://[::1]:81/ "],
)
def test_addresses_that_can_be(address: str) -> None:
    assert address_problem(address) == ""


@pytest.mark.parametrize(
    "address", ["cam.local", "ftp://cam", "http://", "http://a b", "http://x:99999/", "http://x:y/"]
)
def test_addresses_that_cannot_be_are_told_how(address: str) -> None:
    assert address_problem(address) == (
        "The address has to begin with http:// or https:// and name a host."
    )


def test_paths_are_looked_up(tmp_path: Path) -> None:
    assert path_problem(str(tmp_path)) == ""
    assert path_problem(" ").startswith("Type the path")
    assert "is not there" in path_problem(str(tmp_path / "gone"))
    assert "is not there" in path_problem("a\0b")


def picked(machine: int = 0, kind: CameraKind = CameraKind.USB) -> Picked:
    rows = camera_rows([MICROSCOPE], ROWS[machine])
    camera = next((row for row in rows if row.kind is kind), None)
    return Picked(
        machine=ROWS[machine], camera=camera, address="", path="", mode=PositionMode.SHOWN
    )


def test_what_is_missing_is_said_in_turn() -> None:
    assert why_not(replace(picked(), machine=None)).startswith("Choose a machine")
    assert why_not(replace(picked(), camera=None)) == "Choose a camera."
    assert why_not(picked(kind=CameraKind.NETWORK)).startswith("Type the network camera's address")
    assert why_not(picked(kind=CameraKind.FILE)).startswith("Type the path")
    assert why_not(replace(picked(), mode=None)) == "Choose how positions are told."
    assert why_not(picked()) == ""


def test_jogs_cannot_be_counted_where_the_machine_homes_between_tools() -> None:
    heron = replace(picked(1, CameraKind.BENCH), mode=PositionMode.JOGS_ONLY)
    assert "homes between its tools" in why_not(heron)


def test_an_unknown_dialect_stops_before_the_run() -> None:
    odd = machine_rows([make_profile(name="Odd", dialect="own-brew")], ())[0]
    assert "own-brew" in why_not(replace(picked(), machine=odd))
    assert "own-brew" in machine_words(odd.profile, simulated=False)


def test_sources_are_what_cameras_are_opened_by() -> None:
    assert source_of(picked()) == "usb:0"
    assert source_of(picked(1, CameraKind.BENCH)) == "bench"
    network = replace(picked(kind=CameraKind.NETWORK), address=" http://cam/ ")
    assert source_of(network) == "http://cam/"
    assert source_of(replace(picked(kind=CameraKind.FILE), path="a.mp4")) == "file:a.mp4"
    assert source_of(picked(kind=CameraKind.FILE)) == ""


def test_a_panel_that_only_jogs_takes_the_other_way() -> None:
    knob = make_profile(shows_coordinates=False)
    assert possible_mode(knob, PositionMode.SHOWN) is PositionMode.JOGS_ONLY
    neither = replace(knob, homes_between_tools=True)
    assert possible_mode(neither, PositionMode.SHOWN) is None


def test_an_unfinished_run_in_a_line() -> None:
    assert run_words(RUN, now=NOW) == "Plover, today 14:03: 7 facts, simulated"
    real = replace(RUN, simulated=False, n_facts=1)
    assert run_words(real, now=NOW + timedelta(days=1)) == "Plover, yesterday 14:03: 1 fact"


def test_times_are_told_in_the_zone_of_the_reader() -> None:
    east = datetime(2026, 11, 26, 1, 0, tzinfo=timezone(timedelta(hours=10)))
    assert when_words("2026-11-25T14:03:00.000Z", now=east) == "today 0:03"
    assert when_words("2026-11-01T04:05:00Z", now=NOW) == "2026-11-01 4:05"
    assert when_words("some day", now=datetime(2026, 1, 1, tzinfo=UTC)) == "some day"
