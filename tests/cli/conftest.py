"""What the tests of the command line share: the program in this process, jobs, pictures, runs."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import cv2
import pytest

from app.cli import run_command
from app.job.facts import Fact, Position, Prepared, Purpose
from app.job.run import fold
from app.job.sheet import PREPARATION
from app.job.snapshot import snapshot_of
from app.records import Store
from app.wiring.automatic import export_run
from tests.job.conftest import JOGS, PaperMachine, make_profile
from tests.no_window import no_window
from tests.vision.bore.pictures import Scene, take

Json = dict[str, object]


@dataclass(frozen=True)
class Outcome:
    """What one command left behind."""

    status: int
    out: str
    err: str

    @property
    def objects(self) -> list[Json]:
        """All of standard output, one JSON object a line."""
        return [json.loads(line) for line in self.out.splitlines()]

    @property
    def error(self) -> Json:
        """The one error object that standard output has to be."""
        (whole,) = self.objects
        assert set(whole) == {"schema", "error"}
        assert whole["schema"] == 1
        error = whole["error"]
        assert isinstance(error, dict)
        assert set(error) == {"code", "message", "file", "path", "value"}
        assert self.err.strip() == error["message"]
        return error


Command = Callable[..., Outcome]


@pytest.fixture
def data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The user's data folder, not there yet."""
    folder = tmp_path / "data"
    monkeypatch.setenv("TIPWRIGHT_DATA", str(folder))
    monkeypatch.delenv("TIPWRIGHT_LOG", raising=False)
    return folder


@pytest.fixture
def tipwright(data: Path, capsys: pytest.CaptureFixture[str]) -> Command:
    """Run a command in this process."""

    def run(*words: str | Path) -> Outcome:
        capsys.readouterr()
        status = run_command([str(word) for word in words], open_window=no_window)
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        return Outcome(status=status, out=out, err=err)

    return run


@pytest.fixture
def picture(tmp_path: Path) -> Path:
    """A fair picture of a bore at (320.3, 240.6) px of 34 px radius."""
    file = tmp_path / "tip.png"
    cv2.imwrite(str(file), take(Scene()))
    return file


def paper_machine() -> PaperMachine:
    """A tool changer whose nozzle vectors are known."""
    return PaperMachine(
        profile=make_profile(), vectors_mm={0: (0.0, 0.0), 1: (-0.34, 0.12), 2: (0.21, -0.5)}
    )


def a_job(**changes: object) -> Json:
    """A sound job of three tools as its file gives it; None takes a field out."""
    paper = paper_machine()

    def seen(x: float, y: float, tool: int = 0) -> Json:
        u, v = paper.centre(tool, (x, y))
        return {"center_px": [u, v], "position_mm": [x, y], "approach": "+X+Y", "sigma_px": 0.05}

    job: Json = {
        "schema": 1,
        "units": "mm",
        "layout": "tool-changer",
        "dialect": "reprapfirmware",
        "reference_tool": 0,
        "scale_jogs": [seen(150.0 + dx, 100.0 + dy) for dx, dy in JOGS],
        "sightings": [{"tool": tool, **seen(150.0, 100.0, tool)} for tool in (0, 1, 2, 0)],
    } | changes
    return {name: value for name, value in job.items() if value is not None}


def entry_of(job: Json, name: str, number: int) -> dict[str, object]:
    """Return one entry of a list in a job, to be changed in place."""
    entries = job[name]
    assert isinstance(entries, list)
    entry = entries[number]
    assert isinstance(entry, dict)
    return entry


@pytest.fixture
def job_file(tmp_path: Path) -> Callable[[Mapping[str, object] | str], Path]:
    """Write a job, or any text, as job.json."""

    def write(job: Mapping[str, object] | str) -> Path:
        file = tmp_path / "job.json"
        text = job if isinstance(job, str) else json.dumps(job)
        file.write_text(text, encoding="utf-8")
        return file

    return write


@dataclass(frozen=True)
class Recorded:
    """Two runs in the records: one with its offsets taken, a later one just begun."""

    finished: str
    begun: str


@pytest.fixture
def recorded(data: Path) -> Recorded:
    paper = paper_machine()
    facts: list[Fact] = [
        Prepared(ticked=PREPARATION),
        *(
            paper.sighted(0, Position(150.0 + dx, 100.0 + dy, 5.0), purpose=Purpose.SCALE)
            for dx, dy in JOGS
        ),
        *(paper.sighted(tool, Position(150.0, 100.0, 5.0)) for tool in (0, 1, 2, 0)),
    ]
    with closing(Store(data)) as store:
        finished = store.start_run(paper.started())
        for fact in facts:
            store.append(finished, fact)
        run = fold(store.entries(finished))
        snapshot = snapshot_of(run)
        assert snapshot.solution is not None
        export_run(store, finished, run, snapshot.solution, snapshot.findings)
        begun = store.start_run(paper.started())
        store.append(begun, facts[0])
        store.append(begun, facts[1])
    return Recorded(finished=finished, begun=begun)
