"""Every run of a benchmark leaves a trace before anybody sees its grades."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.benchmarks.finder.goals import Grade, verdict
from tests.benchmarks.finder.report import ROOT, RUNS_KEPT, Report


def run(folder: Path, seed: int) -> None:
    report = Report("page", "A page", seed=seed, samples="3 pictures", folder=folder)
    report.table("Scatter", ("R px", "RMS px"), [(12, "a|b")], note="Goal 1.")
    report.finish()


def test_the_newest_run_stands_first_and_old_ones_go(tmp_path: Path) -> None:
    for seed in range(RUNS_KEPT + 2):
        run(tmp_path, seed)
    text = (tmp_path / "page.md").read_text(encoding="utf-8")
    seeds = [line.split("; ")[1] for line in text.splitlines() if line.startswith("Finder ")]
    assert seeds == [f"seed {seed}" for seed in range(RUNS_KEPT + 1, 1, -1)]
    assert text.startswith("# A page\n")
    assert text.count("| 12 | a\\|b |") == RUNS_KEPT


def test_what_is_printed_is_what_was_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(tmp_path, 1)
    assert capsys.readouterr().out.strip() in (tmp_path / "page.md").read_text(encoding="utf-8")


def test_nothing_is_printed_that_could_not_be_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "page.md").mkdir()
    with pytest.raises(OSError, match="page"):
        run(tmp_path, 1)
    assert not capsys.readouterr().out


def test_the_page_names_no_folder_of_the_machine(tmp_path: Path) -> None:
    run(tmp_path, 1)
    assert str(ROOT) not in (tmp_path / "page.md").read_text(encoding="utf-8")


def test_a_row_that_does_not_fit_its_header_is_refused(tmp_path: Path) -> None:
    report = Report("page", "A page", seed=1, samples="none", folder=tmp_path)
    with pytest.raises(ValueError, match="2 cells"):
        report.table("Scatter", ("R px", "RMS px"), [(12,)])


def test_a_verdict_counts_no_refusal_as_met() -> None:
    grades = [
        Grade(value=0.5, where="here", complete=True),
        Grade(value=0.7, where="there", complete=False),
        Grade(value=float("nan"), where="nowhere", complete=False),
    ]
    said = verdict(grades, 1.0, " px")
    assert said == "Goal 1 px: met in 1 of 3, not all found in 2; worst 0.7 px at there."
