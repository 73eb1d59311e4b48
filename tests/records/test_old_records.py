"""What an older version wrote stays readable, and a change of its fields is noticed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from app.job import facts
from app.job.profile import Profile
from app.records import rows
from tests.records.examples import HERON
from tests.records.golden.make_facts import EXAMPLES

GOLDEN = Path(__file__).with_name("golden")


def stored_by(version: str) -> list[rows.Payload]:
    lines = (GOLDEN / f"facts_{version}.jsonl").read_text("utf-8").splitlines()
    return [
        rows.Payload(kind=line["kind"], version=line["version"], text=line["payload"])
        for line in map(json.loads, lines)
    ]


def read(payload: rows.Payload) -> facts.Fact | Profile:
    return rows.to_profile(payload) if payload.kind == rows.PROFILE else rows.to_fact(payload)


@pytest.mark.parametrize("version", sorted(p.stem[6:] for p in GOLDEN.glob("facts_*.jsonl")))
def test_facts_of_each_released_version_can_be_read(version: str) -> None:
    assert [read(payload) for payload in stored_by(version)] == [*EXAMPLES, HERON]


def test_fields_that_changed_got_a_new_version() -> None:
    """A kind whose text differs from the stored one needs its version raised, and an upgrade."""
    old = {(p.kind, p.version): json.loads(p.text) for p in stored_by("v1")}
    now = [*map(rows.from_fact, EXAMPLES), rows.from_profile(HERON)]

    assert {payload.kind for payload in now} == set(rows.VERSIONS)
    for payload in now:
        assert old.get((payload.kind, payload.version), json.loads(payload.text)) == json.loads(
            payload.text
        )
