"""What lists of records show: runs and events in short."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class RunSummary:
    """A run in one line.

    Attributes
    ----------
    run_id, machine
        Its id, and the name of its machine when it began.
    started_at, last_at
        Times of its first and newest fact, ISO 8601 in UTC.
    n_facts
        How many facts it has.
    simulated
        Whether it ran on the bench.
    exported
        Whether offsets were exported at least once.
    finished
        Whether the newest export stands: nothing but entries into the machine
        came after it.
    """

    run_id: str
    machine: str
    started_at: str
    last_at: str
    n_facts: int
    simulated: bool
    exported: bool
    finished: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that happened beside the facts.

    Attributes
    ----------
    at
        When, ISO 8601 in UTC.
    run_id
        The run it belongs to, or None.
    code, message
        A short stable name, and a sentence for people.
    """

    at: str
    run_id: str | None
    code: str
    message: str
