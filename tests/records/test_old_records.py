"""What an older version wrote stays readable, and a change of its fields is noticed."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from app.job import facts
from app.job.profile import Profile
from app.records import rows
from tests.records.examples import HERON, a_sighting
from tests.records.golden.make_facts import EXAMPLES
from vision.bore import SeenRim

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


def test_a_sighting_from_before_rims_were_kept_has_none() -> None:
    old = [payload for payload in stored_by("v1") if payload.kind == "sighted"]
    assert [(payload.version, "rim" in json.loads(payload.text)) for payload in old] == [(1, False)]
    fact = read(old[0])
    assert isinstance(fact, facts.Sighted)
    assert fact.rim is None


def test_a_rim_is_kept_with_all_its_digits() -> None:
    rim = SeenRim(
        semi_axes_px=(36.1, 35.9),
        angle_rad=0.1 + 0.2,
        blur_px=1.5,
        sigma_px=0.02,
        dark_level=None,
        land_level=0.7,
    )
    payload = rows.from_fact(replace(a_sighting(), rim=rim))
    assert payload.version == 2
    assert rows.to_fact(payload) == replace(a_sighting(), rim=rim)
