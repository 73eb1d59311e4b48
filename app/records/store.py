"""The records: facts go in one by one and are on disk when `append` returns."""

from __future__ import annotations

import re
import secrets
import unicodedata
from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Self

from sqlalchemy import Connection

from app.job.facts import Entry, Fact, RunStarted
from app.job.interfaces import Picture
from app.job.profile import Profile
from app.records import disk, faults, migrations, picture_files, queries, rows
from app.records.database import ROLLBACK, Database
from app.records.summaries import Event, RunSummary

DATABASE = "records.sqlite"
"""Name of the database in the folder of the records."""

_DRAWS = 100

_STALE_S = 3600.0
"""Writing a picture takes a fraction of a second; one this old will never be ready."""


def utc_now() -> datetime:
    """Return the present time with its zone, UTC."""
    return datetime.now(UTC)


def random_suffix() -> str:
    """Return four characters that tell two runs of one second apart."""
    return secrets.token_hex(2)


class Store:
    """Runs, facts with their pictures, machines and events in one folder.

    Any thread may call; calls block until they are done, one at a time. Several
    programs may use one folder: they wait for each other to write. Implements
    `app.job.interfaces.FactStore`. Every method raises `RecordsError` when the
    disk, the file or another program does not let it do its part; nothing that
    was confirmed before is lost by that, and the same call may be made again.

    Parameters
    ----------
    folder
        Where the records lie; it is made when it is not there.
    now
        The clock; its times have to carry a zone.
    draw
        Gives a short text that makes a run's id unique.
    busy_timeout_s
        How long to wait for another program that is writing.
    on_network
        Whether the folder lies on a network drive; None looks it up.
    vfs
        SQLite's layer for files; another than the usual one stands in for a
        drive that lacks something.
    """

    def __init__(
        self,
        folder: Path,
        *,
        now: Callable[[], datetime] = utc_now,
        draw: Callable[[], str] = random_suffix,
        busy_timeout_s: float = 10.0,
        on_network: bool | None = None,
        vfs: str | None = None,
    ) -> None:
        self.folder = folder.absolute()
        self._now = now
        self._draw = draw
        _prepare_folder(self.folder)
        is_remote = disk.is_on_network(self.folder) if on_network is None else on_network
        self._database = Database(
            self.folder / DATABASE,
            busy_timeout_s=busy_timeout_s,
            wal_allowed=not is_remote,
            vfs=vfs,
        )
        try:
            migrations.migrate(self._database, now=self._utc)
            self._note_journal()
        except BaseException:
            self._database.close()
            raise

    @property
    def journal(self) -> str:
        """How writes are made safe: "wal", or "delete" where that cannot be had."""
        return self._database.journal

    def start_run(self, started: Fact) -> str:
        """Open a run with its first fact and return its id.

        The id tells day, time (UTC) and machine, such as
        ``20261125-113000-heron-3fa9``.
        """
        if not isinstance(started, RunStarted):
            raise TypeError(f"started has to be a RunStarted, not {type(started).__name__}")
        payload = rows.from_fact(started)
        at = self._utc()
        with self._database.writing() as connection:
            run = RunSummary(
                run_id=self._free_run_id(connection, at, started.profile.name),
                machine=started.profile.name,
                started_at=_text(at),
                last_at=_text(at),
                n_facts=1,
                simulated=started.simulated,
                exported=False,
                finished=False,
            )
            queries.insert_run(connection, run, started.program_version)
            queries.insert_fact(connection, run.run_id, 1, _text(at), payload)
        return run.run_id

    def append(self, run_id: str, fact: Fact, pictures: Sequence[Picture] = ()) -> Entry:
        """Write the pictures, then the fact; return it with its number and time.

        Raises
        ------
        ValueError, TypeError
            The fact opens a run, holds a number that is not finite, or a picture
            is not grey; nothing is written.
        """
        if isinstance(fact, RunStarted):
            raise ValueError("fact is a RunStarted; a run has one, from start_run")
        payload = rows.from_fact(fact)
        encoded = [picture_files.encode(picture) for picture in pictures]
        with self._database.writing() as connection:
            number = queries.next_number(connection, run_id)
            at = _text(self._utc())
            picture_files.write(self.folder, run_id, number, encoded)
            try:
                queries.insert_fact(connection, run_id, number, at, payload)
                queries.insert_frames(connection, run_id, number, encoded)
            except Exception:
                # Before the commit, so no row can refer to them. Should the commit
                # itself fail they stay, since it may have reached the disk.
                picture_files.discard(self.folder, run_id, number, encoded)
                raise
        return Entry(number=number, at=at, fact=fact)

    def entries(self, run_id: str) -> tuple[Entry, ...]:
        """Return all facts of a run in order."""
        with self._database.reading() as connection:
            found = queries.entries(connection, run_id)
        if not found:
            raise queries.no_run(run_id)
        return tuple(queries.entry(row) for row in found)

    def pictures(self, run_id: str, number: int) -> tuple[Picture, ...]:
        """Return the pictures of a fact, each checked against its hash."""
        with self._database.reading() as connection:
            found = [queries.kept(row) for row in queries.frames(connection, run_id, number)]
        with faults.as_records_errors(self.folder):
            return tuple(picture_files.read(self.folder, kept) for kept in found)

    def runs(self) -> tuple[RunSummary, ...]:
        """Return all runs in short, the newest first."""
        with self._database.reading() as connection:
            return queries.summaries(connection)

    def last_unfinished(
        self, *, machine: str | None = None, simulated: bool | None = None
    ) -> RunSummary | None:
        """Return the newest run without a standing export, or None.

        Parameters
        ----------
        machine, simulated
            Look only at runs of this machine; only at runs on the bench (True)
            or only at others (False).
        """
        for run in self.runs():
            fits = machine in (None, run.machine) and simulated in (None, run.simulated)
            if fits and not run.finished:
                return run
        return None

    def save_machine(self, profile: Profile) -> None:
        """Keep a profile; it replaces the one of the same name, which stays on record."""
        at = _text(self._utc())
        with self._database.writing() as connection:
            queries.insert_machine(connection, profile, at)

    def machine(self, name: str) -> Profile:
        """Return the newest profile of this name."""
        known = self.machines()
        for profile in known:
            if profile.name == name:
                return profile
        raise queries.no_machine(name, known, self._database.path)

    def machines(self) -> tuple[Profile, ...]:
        """Return the newest profile of each machine, by name."""
        with self._database.reading() as connection:
            return queries.machines(connection)

    def add_event(self, code: str, message: str, *, run_id: str | None = None) -> Event:
        """Note something that is no fact but worth keeping."""
        event = Event(at=_text(self._utc()), run_id=run_id, code=code, message=message)
        with self._database.writing() as connection:
            if run_id is not None and not queries.run_exists(connection, run_id):
                raise queries.no_run(run_id)
            queries.insert_event(connection, event)
        return event

    def events(self, run_id: str | None = None) -> tuple[Event, ...]:
        """Return all events in order, or those of one run."""
        with self._database.reading() as connection:
            return queries.events(connection, run_id)

    def close(self) -> None:
        """Let go of the files; a second call does nothing."""
        self._database.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.close()

    def _utc(self) -> datetime:
        at = self._now()
        if at.tzinfo is None:
            raise ValueError("now has to give times with a zone")
        return at.astimezone(UTC)

    def _free_run_id(self, connection: Connection, at: datetime, machine: str) -> str:
        stem = f"{at:%Y%m%d-%H%M%S}-{_slug(machine)}"
        for _ in range(_DRAWS):
            run_id = f"{stem}-{self._draw()}"
            if not queries.run_exists(connection, run_id):
                return run_id
        raise ValueError(f"draw gave nothing in {_DRAWS} times that makes {stem} unique")

    def _note_journal(self) -> None:
        """Leave a word, once, that this folder has to do without the write-ahead log."""
        code = "journal-fallback"
        if self.journal == ROLLBACK and all(event.code != code for event in self.events()):
            self.add_event(
                code,
                "This drive cannot have a write-ahead log (a network drive?); the records use "
                "the slower rollback journal.",
            )


def _prepare_folder(folder: Path) -> None:
    """Make the folder and see that it can be written to.

    SQLite does not say so by itself: it opens a file without the right to write
    as readable, and fails at the first fact.
    """
    with faults.as_records_errors(folder):
        incoming = folder / picture_files.INCOMING
        incoming.mkdir(parents=True, exist_ok=True)
        probe = incoming / f"{secrets.token_hex(8)}.part"
        disk.write_part(probe, b"")
        _sweep(incoming, probe.stat().st_mtime - _STALE_S)
        probe.unlink()
        (folder / DATABASE).open("ab").close()


def _sweep(incoming: Path, before_s: float) -> None:
    """Remove what programs that were killed had begun to write.

    Younger files may be another program's that is writing now.
    """
    for part in incoming.glob("*.part"):
        with suppress(OSError):  # it became a picture meanwhile, or stays: no harm
            if part.stat().st_mtime < before_s:
                part.unlink()


def _slug(name: str) -> str:
    """Return a name as it can stand in a file's name anywhere."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:24].strip("-") or "machine"


def _text(at: datetime) -> str:
    return at.isoformat(timespec="milliseconds").replace("+00:00", "Z")
