"""One SQLite file: how it is opened, locked, read, written and copied.

What a writer has committed is on the disk: write-ahead log with full
synchronisation, or, where that cannot be had (network drives), the plain
rollback journal.
"""

from __future__ import annotations

import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.pool import QueuePool

from app.errors import RecordsError
from app.records import disk, faults

APPLICATION_ID = 0x54697077
"""Marks a file as ours (`PRAGMA application_id`): "Tipw"."""

WAL = "wal"
ROLLBACK = "delete"

_RETRY_S = 0.02


class Database:
    """One database file, shared by the threads of this program one at a time.

    Parameters
    ----------
    path
        The file; it is made when it is not there.
    busy_timeout_s
        How long to wait for another program that is writing.
    wal_allowed
        False on network drives, where the write-ahead log loses data
        (SQLite documentation, "Write-Ahead Logging", section 1).
    vfs
        Name of the SQLite layer that touches files; None for the usual one.

    Attributes
    ----------
    journal
        `WAL` or `ROLLBACK`: what was settled on.

    Raises
    ------
    RecordsError
        The file cannot be opened, is locked, is damaged, or is another program's.
    """

    def __init__(
        self,
        path: Path,
        *,
        busy_timeout_s: float,
        wal_allowed: bool = True,
        vfs: str | None = None,
    ) -> None:
        self.path = path
        self._busy_timeout_s = busy_timeout_s
        self._vfs = vfs
        self._lock = threading.Lock()
        with faults.as_records_errors(path):
            self.journal = self._settle(wal_allowed)
        # One connection, handed from thread to thread under the lock.
        self._engine = create_engine(
            "sqlite://", creator=self._connect, poolclass=QueuePool, pool_size=1, max_overflow=0
        )
        event.listen(self._engine, "begin", _begin)
        self._writer = self._engine.execution_options(begin="IMMEDIATE")
        self._is_closed = False

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Open a transaction that sees one state of the file throughout."""
        with self._transaction(self._engine) as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Open a transaction that keeps other writers out; it is committed at the end.

        When the block has been left without an error, the changes are on disk.
        """
        # IMMEDIATE: a transaction that reads first and then wants to write would
        # fail at once, without waiting, when another program wrote in between.
        with self._transaction(self._writer) as connection:
            yield connection

    def copy_to(self, target: Path) -> None:
        """Write a whole and consistent copy of the file, other programs' commits included."""
        part = target.with_name(f"{target.name}.part")
        with faults.as_records_errors(target):
            part.unlink(missing_ok=True)
            with closing(self._connect()) as source, closing(sqlite3.connect(part)) as copy:
                source.backup(copy)
                # One file that can be carried about, with no log beside it.
                copy.execute(f"PRAGMA journal_mode = {ROLLBACK}")
            disk.keep(part, target)

    def close(self) -> None:
        """Let go of the file; a second call does nothing."""
        with self._lock:
            self._is_closed = True
            self._engine.dispose()

    @contextmanager
    def _transaction(self, engine: Engine) -> Iterator[Connection]:
        with self._lock, faults.as_records_errors(self.path):
            if self._is_closed:
                raise ValueError("the records are closed")
            with engine.begin() as connection:
                yield connection

    def _open(self) -> sqlite3.Connection:
        name = str(self.path) if self._vfs is None else f"{self.path.as_uri()}?vfs={self._vfs}"
        return sqlite3.connect(
            name,
            uri=self._vfs is not None,
            timeout=self._busy_timeout_s,
            isolation_level=None,  # transactions begin where `_begin` says so
            check_same_thread=False,
        )

    def _connect(self) -> sqlite3.Connection:
        connection = self._open()
        connection.execute("PRAGMA foreign_keys = ON")
        # EXTRA is FULL and, with a rollback journal, the folder's entry too.
        connection.execute("PRAGMA synchronous = EXTRA")
        # On macOS plain fsync leaves data in the drive's cache.
        connection.execute("PRAGMA fullfsync = ON")
        return connection

    def _settle(self, wal_allowed: bool) -> str:
        with closing(self._open()) as connection:
            # Before anything is switched, so that a foreign file stays as it was. A
            # file with a log on a drive that cannot have one is not yet readable.
            with suppress(sqlite3.OperationalError):
                self._refuse_foreign(connection)
            is_wal = wal_allowed and self._try_wal(connection)
            if not is_wal:
                _fall_back(connection)
            (verdict,) = connection.execute("PRAGMA quick_check(1)").fetchone()
            if verdict != "ok":
                raise faults.damaged(self.path, " ".join(str(verdict).split()))
            self._refuse_foreign(connection)
        return WAL if is_wal else ROLLBACK

    def _refuse_foreign(self, connection: sqlite3.Connection) -> None:
        (tables,) = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
        (owner,) = connection.execute("PRAGMA application_id").fetchone()
        if tables and owner != APPLICATION_ID:
            raise RecordsError(
                f"{self.path} is a database of another program and was left as it is; choose "
                "another folder for the records with TIPWRIGHT_DATA.",
                code="records-foreign",
                file=str(self.path),
            )

    def _try_wal(self, connection: sqlite3.Connection) -> bool:
        """Switch the write-ahead log on; False when this drive cannot have it."""
        deadline_s = time.monotonic() + self._busy_timeout_s
        while True:
            try:
                (mode,) = connection.execute("PRAGMA journal_mode = WAL").fetchone()
                connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
            except sqlite3.OperationalError as error:
                # The switch does not wait for others by itself, as a write would.
                busy = error.sqlite_errorname.startswith(("SQLITE_BUSY", "SQLITE_LOCKED"))
                if not busy:
                    return False
                if time.monotonic() > deadline_s:
                    raise
                time.sleep(_RETRY_S)
            else:
                return str(mode) == WAL


def _fall_back(connection: sqlite3.Connection) -> None:
    """Use the rollback journal, also for a file that was kept with a log before."""
    # Only an exclusive lock lets a file with a log be opened without shared memory.
    connection.execute("PRAGMA locking_mode = EXCLUSIVE")
    (mode,) = connection.execute(f"PRAGMA journal_mode = {ROLLBACK}").fetchone()
    connection.execute("PRAGMA locking_mode = NORMAL")
    connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    if str(mode) != ROLLBACK:
        raise RecordsError(
            f"The records can be kept neither with a log nor with a journal (it stays {mode}); "
            "choose a folder on a drive of this computer with TIPWRIGHT_DATA.",
            code="records-disk",
        )


def _begin(connection: Connection) -> None:
    how = connection.get_execution_options().get("begin", "DEFERRED")
    connection.exec_driver_sql(f"BEGIN {how}")
