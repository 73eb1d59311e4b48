"""Grade the bore finder on dirty pictures, unusable ones and look-alikes, beside library calls.

    python -m tests.benchmarks.bench_dirty --workers 2

Not collected by pytest. The pictures are the grading set: nobody may tune the finder on them.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from tests.benchmarks.finder.grading_figures import Grades, mean, or_infinite, px, share, times
from tests.benchmarks.finder.grading_marks import (
    Answer,
    Mark,
    mark_dirty,
    mark_look_alike,
    mark_rendered,
    mark_unusable,
    rendered_cases,
)
from tests.benchmarks.finder.report import GRADES, Report, keep_to_one_thread
from tests.benchmarks.finder.rivals import RIVALS

_KIND_HEADER = (
    *("kind", "pictures", "accepted", "median", "90 %", "95 %", "max", "over 2 px"),
    "within 2 sigma",
)
_RIVAL_HEADER = ("method", "answered", "median", "90 %", "95 %", "max", "over 2 px")


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """All that a run has seen."""

    dirty: list[Mark]
    unusable: list[Mark]
    look_alikes: list[Mark]
    rendered: list[Mark]


Pick = Callable[[Mark], Answer | None]


def _sized(mark: Mark) -> Answer | None:
    return mark.sized


def _unsized(mark: Mark) -> Answer | None:
    return mark.unsized


def main() -> None:
    """Mark the pictures, write the page, print the tables."""
    wanted = arguments()
    keep_to_one_thread()
    grade(wanted, GRADES)


def grade(wanted: argparse.Namespace, folder: Path) -> None:
    """Mark the pictures, write the page into a folder and print it."""
    report = Report(
        "dirty",
        "Dirty pictures, unusable ones and look-alikes",
        seed=wanted.seed,
        samples=(
            f"{wanted.dirty} dirty, {wanted.unusable} unusable, {wanted.look_alikes} look-alikes"
        ),
        folder=folder,
    )
    add_tables(report, marked(wanted))
    report.finish()


def add_tables(report: Report, marks: Marks) -> None:
    """Add all tables of a run."""
    _goal_table(report, marks)
    _dirty_tables(report, marks)
    _rival_tables(report, marks.dirty)
    _unusable_table(report, marks)
    _look_alike_table(report, marks.look_alikes)
    _worst_table(report, marks.dirty)


def marked(wanted: argparse.Namespace) -> Marks:
    """Draw and mark all pictures, on as many processes as wanted."""
    first = wanted.seed
    jobs: list[tuple[Callable[[int], Mark], range]] = [
        (mark_dirty, range(first, first + wanted.dirty)),
        (mark_unusable, range(first, first + wanted.unusable)),
        (mark_look_alike, range(first, first + wanted.look_alikes)),
        (mark_rendered, range(len(rendered_cases()))),
    ]
    if wanted.workers == 1:
        done = [[mark(seed) for seed in seeds] for mark, seeds in jobs]
    else:
        with ProcessPoolExecutor(
            wanted.workers, initializer=cv2.setNumThreads, initargs=(1,)
        ) as pool:
            done = [list(pool.map(mark, seeds, chunksize=8)) for mark, seeds in jobs]
    return Marks(dirty=done[0], unusable=done[1], look_alikes=done[2], rendered=done[3])


def _goal_table(report: Report, marks: Marks) -> None:
    """Set the figures that have a goal beside it; they are those with the size known."""
    finder = Grades.of(_errors(marks.dirty, _sized))
    rivals = _rival_grades(marks.dirty).values()
    median = min(or_infinite(rival.median) for rival in rivals)
    p90 = min(or_infinite(rival.p90) for rival in rivals)
    passed = mean(mark.sized is not None for mark in marks.unusable)
    contradicted = mean(mark.sized is None for mark in marks.look_alikes)
    flagged = mean(not answer.size_verified for answer in _passed(marks.look_alikes))
    goals = (
        ("dirty: median, px", "<= 0.08", px(finder.median), finder.median <= 0.08),
        ("dirty: 95 %, px", "<= 0.5", px(finder.p95), finder.p95 <= 0.5),
        ("dirty: over 2 px", "none", share(finder.gross), finder.gross == 0.0),
        ("dirty: accepted", ">= 90 %", share(finder.accepted), finder.accepted >= 0.9),
        ("unusable: accepted", "<= 0.5 %", share(passed), passed <= 0.005),
        (
            "best call's median",
            ">= 2 x",
            times(median, finder.median),
            median >= 2 * finder.median,
        ),
        ("best call's 90 %", ">= 5 x", times(p90, finder.p90), p90 >= 5.0 * finder.p90),
        (
            "look-alikes: refused at a wrong size",
            "100 %",
            share(contradicted),
            contradicted == 1.0,
        ),
        ("look-alikes: flagged if accepted", "100 %", share(flagged), not flagged < 1.0),
    )
    report.table(
        "Goals",
        ("figure", "goal", "found", "met"),
        [(name, goal, found, "yes" if met else "no") for name, goal, found, met in goals],
        note="Size known within 5 %, but for the last row.",
    )


def _errors(marks: Sequence[Mark], pick: Pick) -> list[float | None]:
    answers = [pick(mark) for mark in marks]
    return [None if answer is None else answer.error_px for answer in answers]


def _rival_grades(marks: Sequence[Mark]) -> dict[str, Grades]:
    return {
        name: Grades.of([mark.rival_errors_px[k] for mark in marks])
        for k, name in enumerate(RIVALS)
    }


def _passed(marks: Sequence[Mark]) -> list[Answer]:
    return [mark.unsized for mark in marks if mark.unsized is not None]


def _dirty_tables(report: Report, marks: Marks) -> None:
    usable = [mark for mark in marks.rendered if mark.kind == "usable"]
    for title, pick in (("size known within 5 %", _sized), ("size unknown", _unsized)):
        rows = [_kind_row(kind, some, pick) for kind, some in _by_kind(marks.dirty)]
        rows += [
            _kind_row("**all dirty pictures**", marks.dirty, pick),
            ("goal", "", ">= 90 %", "<= 0.08", "", "<= 0.5", "", "none", "95 %"),
            _kind_row("rendered sample frames", usable, pick),
        ]
        report.table(
            f"Dirty pictures, {title}",
            _KIND_HEADER,
            rows,
            note="Errors of the accepted, px; the last column counts each axis by itself.",
        )


def _kind_row(name: str, marks: Sequence[Mark], pick: Pick) -> tuple[str, ...]:
    grades = Grades.of(_errors(marks, pick))
    answers = [answer for mark in marks if (answer := pick(mark)) is not None]
    within = [axis for answer in answers for axis in answer.within_two_sigma]
    return (
        name,
        str(grades.pictures),
        *grades.cells(),
        share(float(np.mean(within)) if within else math.nan),
    )


def _rival_tables(report: Report, marks: Sequence[Mark]) -> None:
    rivals = _rival_grades(marks)
    finder = Grades.of(_errors(marks, _sized))
    rows = [("**this finder**", *finder.cells())]
    rows += [(name, *grades.cells()) for name, grades in rivals.items()]
    report.table(
        "Library calls on the same dirty pictures, size known within 5 %",
        _RIVAL_HEADER,
        rows,
        note="Errors of what was answered, px.",
    )
    report.table(
        "Against the best library call at each figure",
        ("figure", "this finder", "best call", "which", "times better", "goal"),
        _ratios(finder, rivals),
        note="Each figure is set against whichever call is best at that figure.",
    )


def _ratios(finder: Grades, rivals: dict[str, Grades]) -> list[tuple[str, ...]]:
    figures: list[tuple[str, Callable[[Grades], float], Callable[[float], str], str]] = [
        ("median, px", lambda g: g.median, px, ">= 2"),
        ("90 %, px", lambda g: g.p90, px, ">= 5"),
        ("95 %, px", lambda g: g.p95, px, ""),
        ("max, px", lambda g: g.largest, px, ""),
        ("over 2 px", lambda g: g.gross, share, "none at all"),
    ]
    rows: list[tuple[str, ...]] = []
    for name, of, said, goal in figures:
        which = min(rivals, key=lambda rival: or_infinite(of(rivals[rival])))
        own, best = of(finder), of(rivals[which])
        rows.append((name, said(own), said(best), which, times(best, own), goal))
    which = max(rivals, key=lambda rival: rivals[rival].accepted)
    best = rivals[which].accepted
    more = f"{finder.accepted / best:.2f} x" if best > 0.0 else "-"
    rows.append(("accepted", share(finder.accepted), share(best), which, more, ""))
    return rows


def _unusable_table(report: Report, marks: Marks) -> None:
    rendered = [mark for mark in marks.rendered if mark.kind == "unusable"]
    rows = [_accepted_row(kind, some) for kind, some in _by_kind(marks.unusable)]
    rows += [
        _accepted_row("**all unusable pictures**", marks.unusable),
        ("goal", "", "<= 0.5 %", ""),
        _accepted_row("rendered sample frames", rendered),
    ]
    report.table(
        "Unusable pictures wrongly accepted",
        ("kind", "pictures", "size known", "size unknown"),
        rows,
        note=(
            "The size that is known is the hidden or cut bore's, the recess's or the hexagon's "
            "within 5 %, or any from 11 to 60 px where nothing in the picture has one. Without a "
            "size a plain round hole may pass."
        ),
    )


def _accepted_row(name: str, marks: Sequence[Mark]) -> tuple[str, ...]:
    return (
        name,
        str(len(marks)),
        share(mean(mark.sized is not None for mark in marks)),
        share(mean(mark.unsized is not None for mark in marks)),
    )


def _look_alike_table(report: Report, marks: Sequence[Mark]) -> None:
    rows = [_look_alike_row(kind, some) for kind, some in _by_kind(marks)]
    rows += [
        _look_alike_row("**all look-alikes**", marks),
        ("goal", "", "100 %", "", "100 %"),
    ]
    report.table(
        "Round things that are no nozzle",
        (
            *("kind", "pictures", "refused where the size contradicts"),
            *("accepted, size unknown", "of these flagged as of unverified size"),
        ),
        rows,
        note="The size that contradicts is 0.5 to 0.75 or 1.35 to 2 times the true one.",
    )


def _look_alike_row(name: str, marks: Sequence[Mark]) -> tuple[str, ...]:
    passed = _passed(marks)
    return (
        name,
        str(len(marks)),
        share(mean(mark.sized is None for mark in marks)),
        share(mean(mark.unsized is not None for mark in marks)),
        share(mean(not answer.size_verified for answer in passed)),
    )


def _worst_table(report: Report, marks: Sequence[Mark]) -> None:
    rows = []
    for title, pick in (("size known", _sized), ("size unknown", _unsized)):
        answered = [(a.error_px, mark) for mark in marks if (a := pick(mark)) is not None]
        worst = sorted(answered, key=lambda one: -one[0])[:3]
        rows += [(title, str(mark.seed), mark.kind, px(error)) for error, mark in worst]
    report.table(
        "The three worst of the accepted dirty pictures",
        ("", "seed", "kind", "error, px"),
        rows,
        note="`tests.benchmarks.finder.grading.dirty(seed)` draws the picture again.",
    )


def _by_kind(marks: Sequence[Mark]) -> list[tuple[str, list[Mark]]]:
    kinds = dict.fromkeys(sorted(mark.kind for mark in marks))
    return [(kind, [mark for mark in marks if mark.kind == kind]) for kind in kinds]


def arguments(words: Sequence[str] | None = None) -> argparse.Namespace:
    """Return what is wanted from the words of the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    count = parser.add_argument
    count("--dirty", type=_number, default=2000, help="dirty pictures (default 2000)")
    count("--unusable", type=_number, default=2000, help="unusable pictures (2000)")
    count("--look-alikes", type=_number, default=400, help="round things (400)")
    count("--workers", type=_number, default=1, help="processes (1)")
    count("--seed", type=_number, default=1, help="first seed of each set (1)")
    return parser.parse_args(words)


def _number(word: str) -> int:
    number = int(word)
    if number < 1:
        raise argparse.ArgumentTypeError(f"must be 1 or more, got {word}")
    return number


if __name__ == "__main__":
    main()
