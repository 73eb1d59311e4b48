"""The statements of the store, and what their rows mean."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Row, case, func, insert, literal_column, select

from app.errors import RecordsError
from app.job.facts import Entry
from app.job.interfaces import PictureKind
from app.job.profile import Profile
from app.records import picture_files, rows
from app.records.schema import EVENTS, FACTS, FRAMES, MACHINES, RUNS
from app.records.summaries import Event, RunSummary

AnyRow = Row[tuple[Any, ...]]

_AFTER_EXPORT = ("exported", "entered")
"""Kinds of fact that leave an export standing."""


def run_exists(connection: Connection, run_id: str) -> bool:
    """Whether there is a run with this id."""
    query = select(func.count()).where(RUNS.c.run_id == run_id)
    return bool(connection.execute(query).scalar_one())


def next_number(connection: Connection, run_id: str) -> int:
    """Return the number that the next fact of a run gets; RecordsError without the run."""
    query = select(func.max(FACTS.c.number)).where(FACTS.c.run_id == run_id)
    newest = connection.execute(query).scalar_one()
    if newest is None:
        raise no_run(run_id)
    return int(newest) + 1


def insert_run(connection: Connection, run: RunSummary, program_version: str) -> None:
    """Add the row of a run."""
    values = {
        "run_id": run.run_id,
        "machine": run.machine,
        "started_at": run.started_at,
        "simulated": int(run.simulated),
        "program_version": program_version,
    }
    connection.execute(insert(RUNS), values)


def insert_fact(
    connection: Connection, run_id: str, number: int, at: str, payload: rows.Payload
) -> None:
    """Add the row of a fact."""
    values = {
        "run_id": run_id,
        "number": number,
        "at": at,
        "kind": payload.kind,
        "version": payload.version,
        "payload": payload.text,
    }
    connection.execute(insert(FACTS), values)


def insert_frames(
    connection: Connection, run_id: str, number: int, encoded: Sequence[picture_files.Encoded]
) -> None:
    """Add the rows of a fact's pictures, in their order."""
    frames = [
        {
            "run_id": run_id,
            "number": number,
            "place": place,
            "frame_id": one.picture.frame_id,
            "kind": one.picture.kind.value,
            "origin_u_px": one.picture.origin_px[0],
            "origin_v_px": one.picture.origin_px[1],
            "width_px": one.picture.image.shape[1],
            "height_px": one.picture.image.shape[0],
            "bits": one.picture.image.dtype.itemsize * 8,
            "file": one.file(run_id, number),
            "sha256": one.sha256,
        }
        for place, one in enumerate(encoded, start=1)
    ]
    if frames:
        connection.execute(insert(FRAMES), frames)


def entries(connection: Connection, run_id: str) -> Sequence[AnyRow]:
    """Return the rows of a run's facts in order."""
    query = select(FACTS).where(FACTS.c.run_id == run_id).order_by(FACTS.c.number)
    return connection.execute(query).all()


def entry(row: AnyRow) -> Entry:
    """Return the fact of a row; RecordsError names the fact that cannot be read."""
    payload = rows.Payload(kind=row.kind, version=row.version, text=row.payload)
    try:
        fact = rows.to_fact(payload)
    except RecordsError as error:
        raise RecordsError(
            f"Fact {row.number} of run {row.run_id} cannot be read: {error.message}",
            code=error.code,
            path=error.path,
            value=error.value,
        ) from error
    return Entry(number=row.number, at=row.at, fact=fact)


def frames(connection: Connection, run_id: str, number: int) -> Sequence[AnyRow]:
    """Return the rows of a fact's pictures in order; RecordsError without the fact."""
    fact = select(func.count()).where(FACTS.c.run_id == run_id, FACTS.c.number == number)
    if not connection.execute(fact).scalar_one():
        if not run_exists(connection, run_id):
            raise no_run(run_id)
        raise RecordsError(
            f"Run {run_id} has no fact with the number {number}.",
            code="fact-unknown",
            value=number,
        )
    ours = (FRAMES.c.run_id == run_id, FRAMES.c.number == number)
    return connection.execute(select(FRAMES).where(*ours).order_by(FRAMES.c.place)).all()


def kept(row: AnyRow) -> picture_files.Kept:
    """Return what a row says of a picture's file."""
    try:
        kind = PictureKind(row.kind)
    except ValueError as error:
        raise RecordsError(
            f"The picture {row.file} is of a kind that this program does not know ({row.kind}); "
            "use a newer version of it.",
            code="record-unreadable",
            path="kind",
            value=row.kind,
        ) from error
    return picture_files.Kept(
        kind=kind,
        origin_px=(row.origin_u_px, row.origin_v_px),
        frame_id=row.frame_id,
        file=row.file,
        sha256=row.sha256,
    )


def summaries(connection: Connection) -> tuple[RunSummary, ...]:
    """Return all runs in short, the newest first."""
    newest_at = (
        select(FACTS.c.at)
        .where(FACTS.c.run_id == RUNS.c.run_id)
        .order_by(FACTS.c.number.desc())
        .limit(1)
        .correlate(RUNS)
        .scalar_subquery()
    )
    exported = func.max(case((FACTS.c.kind == "exported", FACTS.c.number)))
    reopened = func.max(case((FACTS.c.kind.not_in(_AFTER_EXPORT), FACTS.c.number)))
    query = (
        select(
            RUNS,
            func.count(FACTS.c.number).label("n_facts"),
            newest_at.label("last_at"),
            exported.label("exported"),
            reopened.label("reopened"),
        )
        .join(FACTS)
        .group_by(RUNS.c.run_id)
        # In the order of writing: a computer's clock may have been set back.
        .order_by(literal_column("runs.rowid").desc())
    )
    return tuple(_summary(row) for row in connection.execute(query))


def _summary(row: AnyRow) -> RunSummary:
    return RunSummary(
        run_id=row.run_id,
        machine=row.machine,
        started_at=row.started_at,
        last_at=row.last_at,
        n_facts=row.n_facts,
        simulated=bool(row.simulated),
        exported=row.exported is not None,
        finished=row.exported is not None and row.exported > row.reopened,
    )


def insert_machine(connection: Connection, profile: Profile, at: str) -> None:
    """Add the row of a profile."""
    payload = rows.from_profile(profile)
    values = {
        "name": profile.name,
        "saved_at": at,
        "version": payload.version,
        "payload": payload.text,
    }
    connection.execute(insert(MACHINES), values)


def machines(connection: Connection) -> tuple[Profile, ...]:
    """Return the newest profile of each name, by name."""
    newest = select(func.max(MACHINES.c.id)).group_by(MACHINES.c.name)
    query = select(MACHINES).where(MACHINES.c.id.in_(newest)).order_by(MACHINES.c.name)
    return tuple(
        rows.to_profile(rows.Payload(kind=rows.PROFILE, version=row.version, text=row.payload))
        for row in connection.execute(query)
    )


def insert_event(connection: Connection, event: Event) -> None:
    """Add the row of an event."""
    values = {
        "at": event.at,
        "run_id": event.run_id,
        "code": event.code,
        "message": event.message,
    }
    connection.execute(insert(EVENTS), values)


def events(connection: Connection, run_id: str | None) -> tuple[Event, ...]:
    """Return the events in order; with a run's id, those of that run."""
    query = select(EVENTS).order_by(EVENTS.c.id)
    if run_id is not None:
        query = query.where(EVENTS.c.run_id == run_id)
    return tuple(
        Event(at=row.at, run_id=row.run_id, code=row.code, message=row.message)
        for row in connection.execute(query)
    )


def no_run(run_id: str) -> RecordsError:
    """Return the error for a run that is not there."""
    return RecordsError(
        f"There is no run {run_id} in the records; the list of runs shows those that are there.",
        code="run-unknown",
        value=run_id,
    )


def no_machine(name: str, known: Sequence[Profile], file: Path) -> RecordsError:
    """Return the error for a machine that is not there."""
    names = ", ".join(profile.name for profile in known) or "none yet"
    return RecordsError(
        f"There is no machine named {name} in the records; known are: {names}.",
        code="machine-unknown",
        file=str(file),
        value=name,
    )
