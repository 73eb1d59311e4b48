"""Numbered steps from an older database to the present one.

`PRAGMA user_version` counts the steps that a file has behind it. A step that was
once released is never changed: a new one is added at the end of `STEPS`, with a
test from the old file.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection

from app.errors import RecordsError
from app.records.database import APPLICATION_ID, Database

Step = Callable[[Connection], None]

_GROWING = ("runs", "facts", "frames")

_CREATE = (
    """CREATE TABLE runs (
        run_id TEXT NOT NULL PRIMARY KEY,
        machine TEXT NOT NULL,
        started_at TEXT NOT NULL,
        simulated INTEGER NOT NULL CHECK (simulated IN (0, 1)),
        program_version TEXT NOT NULL
    )""",
    """CREATE TABLE facts (
        run_id TEXT NOT NULL REFERENCES runs (run_id),
        number INTEGER NOT NULL CHECK (number >= 1),
        at TEXT NOT NULL,
        kind TEXT NOT NULL,
        version INTEGER NOT NULL,
        payload TEXT NOT NULL,
        PRIMARY KEY (run_id, number)
    )""",
    """CREATE TABLE frames (
        run_id TEXT NOT NULL,
        number INTEGER NOT NULL,
        place INTEGER NOT NULL,
        frame_id INTEGER NOT NULL,
        kind TEXT NOT NULL,
        origin_u_px INTEGER NOT NULL,
        origin_v_px INTEGER NOT NULL,
        width_px INTEGER NOT NULL,
        height_px INTEGER NOT NULL,
        bits INTEGER NOT NULL,
        file TEXT NOT NULL,
        sha256 TEXT NOT NULL,
        PRIMARY KEY (run_id, number, place),
        FOREIGN KEY (run_id, number) REFERENCES facts (run_id, number)
    )""",
    """CREATE TABLE machines (
        id INTEGER NOT NULL PRIMARY KEY,
        name TEXT NOT NULL,
        saved_at TEXT NOT NULL,
        version INTEGER NOT NULL,
        payload TEXT NOT NULL
    )""",
    "CREATE INDEX machines_by_name ON machines (name, id)",
    """CREATE TABLE events (
        id INTEGER NOT NULL PRIMARY KEY,
        at TEXT NOT NULL,
        run_id TEXT REFERENCES runs (run_id),
        code TEXT NOT NULL,
        message TEXT NOT NULL
    )""",
    *(
        f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{table} are only ever added'); END"
        for table in _GROWING
        for verb in ("UPDATE", "DELETE")
    ),
)


def create(connection: Connection) -> None:
    """Make all tables in an empty file."""
    for statement in _CREATE:
        connection.exec_driver_sql(statement)
    connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")


STEPS: tuple[Step, ...] = (create,)
"""Step number n leads from version n to version n + 1."""


def migrate(
    database: Database, *, now: Callable[[], datetime], steps: Sequence[Step] = STEPS
) -> tuple[Path, ...]:
    """Bring a database to the present version; each step is done whole or not at all.

    Before each step that changes older records, a copy of the file is put beside it.

    Returns
    -------
    tuple of Path
        The copies that were made.

    Raises
    ------
    RecordsError
        The file belongs to a newer version of the program.
    """
    copies: list[Path] = []
    while _checked_version(database, len(steps)) < len(steps):
        copy = _take_step(database, steps, now)
        if copy is not None:
            copies.append(copy)
    return tuple(copies)


def _checked_version(database: Database, newest: int) -> int:
    with database.reading() as connection:
        version = _pragma(connection, "user_version")
    if version > newest:
        raise RecordsError(
            f"The records {database.path} were written by a newer version of the program (records "
            f"version {version}; this program knows {newest}) and were left as they are. Update "
            "the program, or choose another folder with TIPWRIGHT_DATA.",
            code="records-newer",
            file=str(database.path),
            value=version,
        )
    return version


def _take_step(
    database: Database, steps: Sequence[Step], now: Callable[[], datetime]
) -> Path | None:
    """Take the next step, unless another program took it meanwhile."""
    copy: Path | None = None
    with database.writing() as connection:
        version = _pragma(connection, "user_version")
        if version >= len(steps):
            return None
        if version > 0:
            # Others cannot write now, so the copy is what the step starts from.
            copy = _free_name(database.path, version, now())
            database.copy_to(copy)
        steps[version](connection)
        connection.exec_driver_sql(f"PRAGMA user_version = {version + 1}")
    return copy


def _free_name(path: Path, version: int, at: datetime) -> Path:
    """Return a name for a copy that is not taken: an earlier copy is never overwritten."""
    stem = f"{path.stem}-version-{version}-{at:%Y%m%d-%H%M%S}"
    names = [stem, *(f"{stem}-{count}" for count in range(2, 100))]
    candidates = (path.with_name(f"{name}{path.suffix}") for name in names)
    return next(candidate for candidate in candidates if not candidate.exists())


def _pragma(connection: Connection, name: str) -> int:
    return int(connection.exec_driver_sql(f"PRAGMA {name}").scalar_one())
