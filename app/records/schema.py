"""The tables of the records, as the newest migration leaves them.

`runs`, `facts` and `frames` only ever grow: triggers (see `migrations`) refuse
to change or remove a row. Times are ISO 8601 text in UTC, since SQLite keeps no
zone; a fact's value is JSON text (see `rows`).
"""

from __future__ import annotations

from sqlalchemy import (
    CheckConstraint,
    Column,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    MetaData,
    Table,
    Text,
)

METADATA = MetaData()

RUNS = Table(
    "runs",
    METADATA,
    Column("run_id", Text, primary_key=True, nullable=False),
    Column("machine", Text, nullable=False),
    Column("started_at", Text, nullable=False),
    Column("simulated", Integer, CheckConstraint("simulated IN (0, 1)"), nullable=False),
    Column("program_version", Text, nullable=False),
)
"""One row a run: what a list of runs shows without reading facts."""

FACTS = Table(
    "facts",
    METADATA,
    Column("run_id", Text, ForeignKey("runs.run_id"), primary_key=True, nullable=False),
    Column("number", Integer, CheckConstraint("number >= 1"), primary_key=True, nullable=False),
    Column("at", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("version", Integer, nullable=False),
    Column("payload", Text, nullable=False),
)
"""One row a fact, numbered from 1 within its run."""

FRAMES = Table(
    "frames",
    METADATA,
    Column("run_id", Text, primary_key=True, nullable=False),
    Column("number", Integer, primary_key=True, nullable=False),
    Column("place", Integer, primary_key=True, nullable=False),
    Column("frame_id", Integer, nullable=False),
    Column("kind", Text, nullable=False),
    Column("origin_u_px", Integer, nullable=False),
    Column("origin_v_px", Integer, nullable=False),
    Column("width_px", Integer, nullable=False),
    Column("height_px", Integer, nullable=False),
    Column("bits", Integer, nullable=False),
    Column("file", Text, nullable=False),
    Column("sha256", Text, nullable=False),
    ForeignKeyConstraint(["run_id", "number"], ["facts.run_id", "facts.number"]),
)
"""One row a picture that is kept with a fact; `file` is relative to the folder."""

MACHINES = Table(
    "machines",
    METADATA,
    Column("id", Integer, primary_key=True, nullable=False),
    Column("name", Text, nullable=False),
    Column("saved_at", Text, nullable=False),
    Column("version", Integer, nullable=False),
    Column("payload", Text, nullable=False),
    Index("machines_by_name", "name", "id"),
)
"""One row each time a profile was saved; the newest of a name counts."""

EVENTS = Table(
    "events",
    METADATA,
    Column("id", Integer, primary_key=True, nullable=False),
    Column("at", Text, nullable=False),
    Column("run_id", Text, ForeignKey("runs.run_id")),
    Column("code", Text, nullable=False),
    Column("message", Text, nullable=False),
)
"""What happened beside the facts: a camera that came back, a journal that fell back."""
