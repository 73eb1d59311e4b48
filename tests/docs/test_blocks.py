"""What stands in blocks of code is true: it parses, it runs, it says what the page says."""

from __future__ import annotations

import json
import re
import shlex
import tomllib
from dataclasses import fields
from pathlib import Path

import pytest

from app.cli import run_command
from app.cli.main import _parser
from app.job.job_file import parse_job_text
from app.job.profile import Profile, Tool, parse_profile
from tests.docs.pages import ROOT, Block, blocks, codes_in_tables, read
from tests.no_window import no_window

_JOBS = [block for block in blocks("json") if '"scale_jogs"' in block.text]
_QUICK = ("measure",)


def _lines(block: Block) -> list[str]:
    return [line for line in block.text.splitlines() if line.startswith("tipwright ")]


_SHELL = [pytest.param(line, id=f"{b}: {line}") for b in blocks("shell") for line in _lines(b)]
_RUN = [
    pytest.param(line, id=line)
    for block in blocks("shell")
    for line in _lines(block)
    if line.split()[1] in _QUICK
]


@pytest.mark.parametrize("block", blocks("json"), ids=str)
def test_a_block_of_json_is_json(block: Block) -> None:
    assert json.loads(block.text)["schema"] == 1


@pytest.mark.parametrize("block", _JOBS, ids=str)
def test_a_job_in_a_page_is_one_that_the_program_takes(
    block: Block, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert parse_job_text(block.text).scale_jogs
    job = tmp_path / "job.json"
    job.write_text(block.text, encoding="utf-8")
    assert run_command(["offsets", "--json", str(job)], open_window=no_window) == 0
    assert len(json.loads(capsys.readouterr().out)["tools"]) == 2


def test_the_answer_in_the_how_to_is_the_one_that_the_program_gives(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = "how-to/work-a-job-out-from-its-file.md"
    (job_block,) = [block for block in blocks("json") if block.page == page]
    (answer,) = [block for block in blocks("text") if block.page == page]
    job = tmp_path / "job.json"
    job.write_text(job_block.text, encoding="utf-8")
    assert run_command(["offsets", str(job)], open_window=no_window) == 0
    assert capsys.readouterr().out.split("\n") == answer.text.split("\n")


@pytest.mark.parametrize("block", blocks("toml"), ids=str)
def test_a_profile_in_a_page_is_one_that_the_program_takes(block: Block) -> None:
    assert len(parse_profile(tomllib.loads(block.text)).tools) >= 2


@pytest.mark.parametrize("line", _SHELL)
def test_a_command_in_a_page_is_one_that_the_program_knows(line: str) -> None:
    words = shlex.split(line)[1:]
    assert callable(_parser(words).parse_args(words).run)


@pytest.mark.parametrize("line", _RUN)
def test_a_quick_command_in_a_page_ends_well(
    line: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(ROOT)
    assert run_command(shlex.split(line)[1:], open_window=no_window) == 0
    assert capsys.readouterr().out


def test_every_field_of_a_profile_is_on_its_page() -> None:
    named = codes_in_tables("reference/machine-profile.md")
    assert {field.name for kind in (Profile, Tool) for field in fields(kind)} <= named


@pytest.mark.parametrize(
    "command", ["measure", "offsets", "demo", "bench", "runs show", "runs export"]
)
def test_every_option_of_a_command_is_on_its_page(
    command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    words = command.split()
    section = read("reference/commands.md").split(f"\n## {words[0]}\n")[1].split("\n## ")[0]
    assert run_command([*words, "--help"], open_window=no_window) == 0
    said = capsys.readouterr().out
    options = set(re.findall(r"^  (--[a-z-]+)", said, re.MULTILINE))
    assert "--json" in options
    assert not {option for option in options if option not in section}
