"""Words of the command line that cannot be, and what is said of them."""

from __future__ import annotations

from pathlib import Path

import pytest

from app.cli import run_command
from app.errors import DeviceError
from tests.cli.conftest import Command


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (("meassure", "tip.png"), "meassure"),
        (("measure",), "FRAME"),
        (("measure", "tip.png", "--bore", "wide"), "--bore"),
        (("measure", "tip.png", "--bore-mm", "wide"), "--bore-mm"),
        (("offsets",), "JOB.json"),
        (("offsets", "a.json", "b.json"), "b.json"),
        (("demo", "--machine", "bittern"), "bittern"),
        (("demo", "--seed", "-1"), "--seed"),
        (("demo", "--seed", "1.5"), "1.5"),
        (("demo", "--camera", "http://127.0.0.1:1/"), "--link"),
        (("bench", "--machine", "bittern"), "bittern"),
        (("bench", "--serve", "--speed", "nan"), "--speed"),
        (("bench", "--serve", "--speed", "21"), "--speed"),
        (("bench", "--serve", "--http-port", "70000"), "--http-port"),
        (("bench", "--serve", "--machine-port", "-1"), "--machine-port"),
        (("runs",), "VERB"),
        (("runs", "burn"), "burn"),
        (("runs", "show"), "RUN"),
        (("runs", "export", "last", "--format", "xls"), "xls"),
    ],
)
def test_bad_usage_is_told_in_one_sentence_that_names_it(
    tipwright: Command, words: tuple[str, ...], named: str
) -> None:
    told = tipwright(*words)
    assert told.status == 2
    assert told.out == ""
    assert named in told.err
    assert len(told.err.splitlines()) == 1


def test_bad_usage_is_one_object_for_programs(tipwright: Command) -> None:
    told = tipwright("measure", "--json")
    assert told.status == 2
    assert told.error["code"] == "bad-usage"


@pytest.mark.parametrize(
    ("option", "value"),
    [("--bore-mm", "nan"), ("--bore-mm", "0"), ("--bore-mm", "-0.4"), ("--um-per-px", "inf")],
)
def test_a_prior_that_cannot_be_is_named_with_its_value(
    tipwright: Command, option: str, value: str
) -> None:
    error = tipwright("measure", "tip.png", "--json", f"{option}={value}").error
    assert error["path"] == option
    assert str(float(error["value"])) == str(float(value))  # type: ignore[arg-type]


@pytest.mark.parametrize("command", ["measure", "offsets", "demo", "bench", "runs"])
def test_each_command_explains_itself_with_an_example(tipwright: Command, command: str) -> None:
    told = tipwright(command, "--help")
    assert told.status == 0
    assert told.err == ""
    assert f"\n  tipwright {command} " in told.out
    assert max(map(len, told.out.splitlines())) <= 90


def test_the_help_names_all_commands_and_exit_statuses(tipwright: Command) -> None:
    told = tipwright("--help")
    assert told.status == 0
    for word in ("measure", "offsets", "demo", "bench", "runs", "4 stopped", "TIPWRIGHT_DATA"):
        assert word in told.out


def test_the_version_is_told(tipwright: Command) -> None:
    told = tipwright("--version")
    assert told.status == 0
    assert told.out.startswith("tipwright ")


def test_without_words_the_window_opens_on_its_start_page() -> None:
    opened: list[tuple[str | None, int]] = []

    def open_window(machine: str | None, seed: int) -> int:
        opened.append((machine, seed))
        return 0

    assert run_command([], open_window=open_window) == 0
    assert run_command(["bench"], open_window=open_window) == 0
    assert run_command(["bench", "--machine", "heron", "--seed", "4"], open_window=open_window) == 0
    assert opened == [(None, 1), ("plover", 1), ("heron", 4)]


def test_a_window_that_cannot_be_opened_is_told_in_a_sentence(
    data: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def open_window(machine: str | None, seed: int) -> int:
        raise DeviceError("There is no screen.", code="no-screen")

    assert run_command([], open_window=open_window) == 3
    assert capsys.readouterr().err.strip() == "There is no screen."
