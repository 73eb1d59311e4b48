"""The tables of one run of a benchmark: printed, and kept in docs/grades/NAME.md.

Every run is written, and nothing is shown before it is: whoever looks at a grade leaves a
trace of having looked, so that nobody can tune on a grading set unseen. There is no switch.
A new page has to be named in docs/README.md, the map of all pages.

    run = Report("clean", "Clean pictures", seed=1, samples="200 pictures a row")
    run.table("Scatter", ("R, px", "RMS / bound"), [("12", "1.31")], note="Goal 1.35.")
    run.finish()
"""

from __future__ import annotations

import os
import platform
import re
import subprocess
import sys
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

import cv2

from vision.bore import ALGORITHM

ROOT = Path(__file__).resolve().parents[3]
GRADES = ROOT / "docs" / "grades"
RUNS_KEPT = 5

# OpenCV has several distributions; it says its version itself.
_PACKAGES = (("NumPy", "numpy"), ("SciPy", "scipy"), ("scikit-image", "scikit-image"))
_RUN = re.compile(r"^## ", re.MULTILINE)
_BLAS_THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


def keep_to_one_thread() -> None:
    """Let OpenCV and the libraries under NumPy use one thread; call it first in `main`.

    BLAS reads its number of threads when NumPy is imported, which has happened by then, so
    the script is begun anew with the number set. Otherwise a matrix product would do part
    of its work on another core, where the time of this thread does not count it.
    """
    if any(os.environ.get(name) != "1" for name in _BLAS_THREADS):
        os.environ.update(dict.fromkeys(_BLAS_THREADS, "1"))
        os.execv(sys.executable, [sys.executable, *sys.orig_argv[1:]])
    cv2.setNumThreads(1)


class Report:
    """Collects the tables of one run.

    Parameters
    ----------
    name
        Name of the page, without ".md".
    title
        Its heading.
    seed
        First seed of everything drawn by chance.
    samples
        How many pictures or repeats were made, and any option that was set.
    folder
        Where the page is kept.
    """

    def __init__(
        self, name: str, title: str, *, seed: int, samples: str, folder: Path = GRADES
    ) -> None:
        self._page = folder / f"{name}.md"
        self._title = title
        # Taken now: the finder that is graded is the one that was imported, whatever is
        # committed while the run lasts.
        self._head = f"{_now()}, {_commit()}\n\n{_conditions(seed, samples)}\n"
        self._parts: list[str] = []

    def table(
        self,
        title: str,
        header: Sequence[str],
        rows: Iterable[Sequence[object]],
        *,
        note: str = "",
    ) -> None:
        """Add a table; the cells are text or numbers already rounded as they shall be read."""
        lines = [_line(header), "|" + "---|" * len(header)]
        for row in rows:
            if len(row) != len(header):
                raise ValueError(f"rows must have {len(header)} cells, got {row!r}")
            lines.append(_line(row))
        below = f"\n{note}\n" if note else ""
        self._parts.append(f"### {title}\n\n" + "\n".join(lines) + f"\n{below}")

    def text(self, words: str) -> None:
        """Add a paragraph."""
        self._parts.append(words.strip() + "\n")

    def finish(self) -> None:
        """Write the page, newest run first, then print this run."""
        run = self._head + "\n" + "\n".join(self._parts)
        runs = [run, *_earlier(self._page)][:RUNS_KEPT]
        self._page.parent.mkdir(parents=True, exist_ok=True)
        text = f"# {self._title}\n\n" + "\n".join("## " + r.rstrip() + "\n" for r in runs)
        unfinished = self._page.with_suffix(".part")
        unfinished.write_text(text, encoding="utf-8")
        unfinished.replace(self._page)
        sys.stdout.write(run)


def _line(cells: Sequence[object]) -> str:
    return "| " + " | ".join(str(cell).replace("|", "\\|") for cell in cells) + " |"


def _earlier(page: Path) -> list[str]:
    if not page.exists():
        return []
    return _RUN.split(page.read_text(encoding="utf-8"))[1:]


def _now() -> str:
    return f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC"


def _conditions(seed: int, samples: str) -> str:
    of_python = ", ".join(f"{name} {version(key)}" for name, key in _PACKAGES)
    blas = os.environ.get(_BLAS_THREADS[0], "all")
    return (
        f"Finder {ALGORITHM}; seed {seed}; {samples}. Python {platform.python_version()}, "
        f"{of_python}, OpenCV {cv2.__version__}; {_cpu()}; "
        f"threads: OpenCV {cv2.getNumThreads()}, BLAS {blas}."
    )


def _commit() -> str:
    commit = _git("rev-parse", "--short=10", "HEAD")
    if not commit:
        return "not from a repository"
    # Untracked files count: a new module of the finder changes it too.
    changes = " + changes" if _git("status", "--porcelain", "--", "vision") else ""
    return f"commit {commit}{changes}"


def _git(*words: str) -> str:
    command = ["git", "-C", str(ROOT), *words]
    try:
        return subprocess.run(command, capture_output=True, text=True, check=True).stdout.strip()
    except (OSError, subprocess.CalledProcessError):
        return ""


def _cpu() -> str:
    try:
        said = Path("/proc/cpuinfo").read_text(encoding="utf-8")
    except OSError:
        return platform.processor() or platform.machine()
    model = re.search(r"^model name\s*:\s*(.+)$", said, re.MULTILINE)
    return model[1].strip() if model else platform.machine()
