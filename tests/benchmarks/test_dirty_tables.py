"""The tables say what was marked."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from tests.benchmarks.bench_dirty import Marks, add_tables, arguments
from tests.benchmarks.finder.grading_figures import Grades
from tests.benchmarks.finder.grading_marks import Answer, Mark, mark_look_alike, rendered_cases
from tests.benchmarks.finder.report import Report
from tests.benchmarks.finder.rivals import RIVALS


def answer(error_px: float, *, within: bool = True, verified: bool = True) -> Answer:
    return Answer(error_px=error_px, within_two_sigma=(within, True), size_verified=verified)


def mark(seed: int, kind: str, sized: Answer | None, *rivals: float | None) -> Mark:
    return Mark(seed=seed, kind=kind, sized=sized, unsized=sized, rival_errors_px=rivals)


# Errors of the five library calls: the second has the best median, the third the best 90 %.
DIRTY = [
    mark(1, "burrs", answer(0.1), 1.0, 0.4, 0.8, 1.0, None),
    mark(2, "burrs", answer(0.2, within=False), 1.0, 0.4, 0.8, 1.0, None),
    mark(3, "scratches", answer(3.0), 1.0, 9.0, 0.8, 1.0, None),
    mark(4, "scratches", None, None, 9.0, 0.8, 1.0, None),
    mark(5, "scratches", answer(0.1), 1.0, 0.4, 0.8, 1.0, None),
]


@pytest.fixture
def rows(tmp_path: Path) -> list[list[str]]:
    """Cells of the page's lines."""
    unknown = answer(math.nan, verified=False)
    marks = Marks(
        dirty=DIRTY,
        unusable=[mark(1, "text", None), mark(2, "text", unknown)],
        look_alikes=[
            Mark(seed=1, kind="washer", sized=None, unsized=unknown),
            Mark(seed=2, kind="washer", sized=unknown, unsized=answer(math.nan)),
        ],
        rendered=[mark(0, "usable", answer(0.5)), mark(1, "unusable", None)],
    )
    report = Report("dirty", "Dirty", seed=1, samples="five", folder=tmp_path)
    add_tables(report, marks)
    report.finish()
    page = (tmp_path / "dirty.md").read_text(encoding="utf-8")
    return [[cell.strip() for cell in line.split("|")[1:-1]] for line in page.splitlines()]


def test_figures_are_those_of_the_accepted() -> None:
    grades = Grades.of([0.1, None, 0.3, 2.5])
    assert grades.accepted == 0.75
    assert grades.median == pytest.approx(0.3)
    assert grades.largest == 2.5
    assert grades.gross == pytest.approx(1 / 3)


def test_nothing_accepted_leaves_no_figures() -> None:
    assert Grades.of([None, None]).cells() == ("0.0 %", "-", "-", "-", "-", "-")


def test_a_kind_has_its_own_row(rows: list[list[str]]) -> None:
    row = ["burrs", "2", "100.0 %", "0.150", "0.190", "0.195", "0.200", "0.0 %", "75.0 %"]
    assert rows.count(row) == 2


def test_the_total_counts_refusals_and_gross_errors(rows: list[list[str]]) -> None:
    total = next(row for row in rows if row[:1] == ["**all dirty pictures**"])
    assert total[1:4] == ["5", "80.0 %", "0.150"]
    assert total[7] == "25.0 %"


def test_each_figure_is_set_against_whichever_call_is_best_at_it(rows: list[list[str]]) -> None:
    names = list(RIVALS)
    by_name = {row[0]: row for row in rows if len(row) == 6}
    assert by_name["median, px"][2:5] == ["0.400", names[1], "2.7 x"]
    assert by_name["90 %, px"][2:4] == ["0.800", names[2]]


def test_a_goal_that_is_missed_is_said_to_be(rows: list[list[str]]) -> None:
    met = {row[0]: row[3] for row in rows if len(row) == 4}
    assert met["best call's median"] == "yes"
    assert met["dirty: over 2 px"] == "no"
    assert met["dirty: accepted"] == "no"
    assert met["unusable: accepted"] == "no"


def test_look_alikes_are_counted_with_and_without_a_size(rows: list[list[str]]) -> None:
    assert ["washer", "2", "50.0 %", "100.0 %", "50.0 %"] in rows


def test_the_worst_are_named_by_seed(rows: list[list[str]]) -> None:
    worst = [row for row in rows if row[:1] == ["size known"]]
    assert worst[0] == ["size known", "3", "scratches", "3.000"]
    assert len(worst) == 3


def test_rendered_frames_have_a_truth_where_they_are_usable() -> None:
    cases = rendered_cases()
    assert {case.kind for case in cases} == {"usable", "unusable"}
    assert all((case.centre_px is not None) == (case.kind == "usable") for case in cases)


def test_a_washer_of_another_size_is_no_bore() -> None:
    assert mark_look_alike(0).sized is None


@pytest.mark.parametrize("words", [["--dirty", "0"], ["--workers", "-1"]])
def test_numbers_under_one_are_refused(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit):
        arguments(words)
    assert "must be 1 or more" in capsys.readouterr().err
