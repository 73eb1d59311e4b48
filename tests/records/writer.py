"""A program of its own that appends facts and says each number once it is on disk.

Run as ``python -m tests.records.writer FOLDER [--limit N] [--rollback]``.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from app.job.interfaces import Picture
from app.records import Store
from tests.records.examples import a_picture, a_sighting, a_start
from vision.geometry import PointPx


def fact_centre(number: int) -> PointPx:
    """The centre that the writer gives the fact with this number."""
    return PointPx(640.0 + number / 7.0, 480.0 - number / 3.0)


def fact_pictures(number: int) -> tuple[Picture, Picture]:
    """The pictures that the writer gives the fact with this number."""
    return a_picture(number, number), a_picture(number, number + 1, deep=True)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--limit", type=int, default=10**6)
    parser.add_argument("--rollback", action="store_true")
    arguments = parser.parse_args()
    with Store(arguments.folder, on_network=arguments.rollback) as store:
        last = store.last_unfinished()
        run_id = last.run_id if last else store.start_run(a_start())
        for _ in range(arguments.limit):
            expected = len(store.entries(run_id)) + 1
            fact = a_sighting(fact_centre(expected))
            entry = store.append(run_id, fact, fact_pictures(expected))
            sys.stdout.write(f"{entry.number}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
