"""What the start page says, without Qt."""

from __future__ import annotations

from datetime import datetime, tzinfo

from app.dialects.registry import DIALECTS
from app.dialects.values import Layout
from app.job.facts import PositionMode
from app.job.profile import Profile
from app.records.summaries import RunSummary

LAYOUT_TITLES = {
    Layout.INDEPENDENT_CARRIAGES: "Independent carriages",
    Layout.TOOL_CHANGER: "Tool changer",
    Layout.FIXED_NOZZLES: "Fixed nozzles",
    Layout.LIFTING_NOZZLE: "Lifting nozzle",
}

LAYOUT_SENTENCES = {
    Layout.INDEPENDENT_CARRIAGES: "Each nozzle rides on a carriage of its own.",
    Layout.TOOL_CHANGER: "One carriage takes its tools from docks.",
    Layout.FIXED_NOZZLES: "The nozzles are bolted side by side to one head.",
    Layout.LIFTING_NOZZLE: "One head; a nozzle is let down when it is its turn.",
}

MODE_WORDS = {
    PositionMode.SHOWN: "By hand: I type what the display shows",
    PositionMode.JOGS_ONLY: "By hand: I count jogs",
}

CONNECTED_WORDS = "Connected"
CONNECTED_REASON = "comes later"


def machine_words(profile: Profile, *, simulated: bool) -> str:
    """Return the line under a machine's name: layout, tools, firmware, or that it is simulated."""
    parts = [LAYOUT_TITLES[profile.layout].lower(), f"{len(profile.tools)} tools"]
    if simulated:
        return ", ".join(["simulated", *parts])
    dialect = DIALECTS.get(profile.dialect)
    return ", ".join([*parts, dialect.title if dialect else f"unknown dialect {profile.dialect}"])


def run_words(run: RunSummary, *, now: datetime) -> str:
    """Return an unfinished run in one line: machine, when, how far, simulated or not.

    Parameters
    ----------
    now
        The present time, in the zone in which times are told.
    """
    facts = "1 fact" if run.n_facts == 1 else f"{run.n_facts} facts"
    simulated = ", simulated" if run.simulated else ""
    return f"{run.machine}, {when_words(run.last_at, now=now)}: {facts}{simulated}"


def when_words(at: str, *, now: datetime) -> str:
    """Return a time of the records for people: ``today 14:03``, ``yesterday 9:30``, a date."""
    zone: tzinfo | None = now.tzinfo
    try:
        then = datetime.fromisoformat(at).astimezone(zone)
    except ValueError:
        return at
    clock = f"{then.hour}:{then:%M}"
    days = (now.date() - then.date()).days
    if days == 0:
        return f"today {clock}"
    if days == 1:
        return f"yesterday {clock}"
    return f"{then:%Y-%m-%d} {clock}"
