"""The whole five-tool job over a stream and a socket, with the bench in another process."""

from __future__ import annotations

import contextlib
import io
import json
import socket
import threading
from contextlib import closing
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from app.cli import run_command
from app.job.facts import Entry, Exported, Purpose, RunStarted, Sighted
from app.job.interfaces import PictureKind
from app.records import Store
from tests.e2e.program import served_bench
from tests.no_window import no_window

pytestmark = pytest.mark.slow

SEED = 3
TOOLS = [0, 1, 2, 3, 4]


def test_five_tools_are_measured_over_the_network_and_recorded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TIPWRIGHT_DATA", str(tmp_path))
    before = set(threading.enumerate())
    # Ten times as fast, and so few frames a World second that two processors keep up.
    fast = ("--speed", "10", "--fps", "2.5", "--seed", str(SEED), "--machine", "plover")
    out, err = io.StringIO(), io.StringIO()
    with served_bench(tmp_path, *fast) as bench:
        words = ["demo", "--machine", "plover", "--seed", str(SEED), "--json"]
        words += ["--camera", bench.camera, "--link", bench.link]
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            status = run_command(words, open_window=no_window)
    assert status == 0, err.getvalue()
    assert [t.name for t in threading.enumerate() if t not in before] == []
    for address in (bench.camera, bench.link):
        refuses(address)

    result = json.loads(out.getvalue())
    inside(result)
    with closing(Store(tmp_path)) as store:
        (summary,) = store.runs()
        assert summary.run_id == result["run"]
        assert summary.finished
        entries = store.entries(summary.run_id)
        for entry in entries:
            if isinstance(entry.fact, Sighted):
                has_its_pictures(store, summary.run_id, entry)
    holds_the_whole_job(entries, result)


def refuses(address: str) -> None:
    """Check that nobody listens at an address any more."""
    parts = urlsplit(address)
    with pytest.raises(OSError), socket.create_connection((parts.hostname, parts.port), 5.0):  # noqa: PT011
        pass


def inside(result: dict[str, object]) -> None:
    """Check found against true offsets: eight axes, one of which may miss its U by chance."""
    truth, tools = result["true_vectors_mm"], result["tools"]
    assert isinstance(truth, dict)
    assert isinstance(tools, list)
    assert [tool["tool"] for tool in tools] == TOOLS
    outside = [
        (tool["tool"], axis)
        for tool in tools[1:]
        for axis in range(2)
        if abs(tool["nozzle_vector_mm"][axis] - truth[str(tool["tool"])][axis])
        > tool["expanded_uncertainty_mm"][axis]
    ]
    assert outside == []
    assert result["simulated"] is True


def has_its_pictures(store: Store, run_id: str, entry: Entry) -> None:
    """Check that a sighting kept one whole frame and crops of the others."""
    pictures = store.pictures(run_id, entry.number)
    kinds = [picture.kind for picture in pictures]
    assert kinds.count(PictureKind.FULL) == 1
    assert len(pictures) >= 5
    assert all(picture.image.size > 0 for picture in pictures)


def holds_the_whole_job(entries: tuple[Entry, ...], result: dict[str, object]) -> None:
    """Check that the facts tell the job from its start to the text that was given."""
    facts = [entry.fact for entry in entries]
    assert isinstance(facts[0], RunStarted)
    assert facts[0].simulated
    sighted = [fact for fact in facts if isinstance(fact, Sighted)]
    assert sum(fact.purpose is Purpose.SCALE for fact in sighted) >= 5
    tools = [fact.tool for fact in sighted if fact.purpose is Purpose.TOOL]
    assert tools[0] == tools[-1] == 0
    assert sorted(set(tools)) == TOOLS
    exported = facts[-1]
    assert isinstance(exported, Exported)
    text = result["text"]
    assert isinstance(text, dict)
    assert exported.settings_text == text["settings"]
    assert exported.settings_text.count("SET_GCODE_OFFSET") == len(TOOLS)
