"""A run is what its facts come down to."""

from __future__ import annotations

import pytest

from app.job.facts import (
    CameraDisturbed,
    Entered,
    Entry,
    Exported,
    Fact,
    Homed,
    Position,
    Prepared,
    Restored,
    Retyped,
    Struck,
)
from app.job.run import fold, undo
from tests.job.conftest import PaperMachine, entries_of, run_of

EXPORTED = Exported(tools=(), settings_text="", moves_text="", warnings=(), algorithm="a")


def test_a_run_has_to_begin_with_its_start(paper: PaperMachine) -> None:
    with pytest.raises(ValueError, match="begins"):
        run_of(Prepared(ticked=()))
    with pytest.raises(ValueError, match="begins"):
        fold([])


def test_numbers_have_to_grow(paper: PaperMachine) -> None:
    entry = Entry(number=1, at="", fact=paper.started())
    with pytest.raises(ValueError, match="grow"):
        fold([entry, entry])


def test_a_struck_sighting_does_not_count_and_a_restored_one_does(
    scale_facts: list[Fact],
) -> None:
    struck = run_of(*scale_facts, Struck(number=4, why="glint"))
    assert [s.number for s in struck.scale_sightings()] == [3, 5, 6, 7, 8]
    back = run_of(*scale_facts, Struck(number=4, why="glint"), Restored(number=4))
    assert [s.number for s in back.scale_sightings()] == [3, 4, 5, 6, 7, 8]


def test_a_retyped_position_counts_and_the_first_one_is_kept(scale_facts: list[Fact]) -> None:
    run = run_of(*scale_facts, Retyped(number=4, position=Position(150.5, 100.6, 5.0)))
    sighting = run.scale_sightings()[1]
    assert sighting.seen.position == Position(150.5, 100.6, 5.0)
    assert sighting.typed_first == Position(150.6, 100.0, 5.0)


def test_what_came_before_a_disturbed_camera_no_longer_counts(
    paper: PaperMachine, scale_facts: list[Fact]
) -> None:
    run = run_of(*scale_facts, CameraDisturbed(why="knocked"))
    assert run.scale_sightings() == ()
    assert all(s.outdated for s in run.sightings)
    again = run_of(*scale_facts, CameraDisturbed(why="knocked"), Struck(number=9, why="no"))
    assert len(again.scale_sightings()) == 6


def test_homing_starts_a_new_pickup(paper: PaperMachine, scale_facts: list[Fact]) -> None:
    place = Position(150.0, 100.0, 5.0)
    run = run_of(
        *scale_facts,
        paper.sighted(0, place),
        Homed(tool=0),
        paper.sighted(0, place),
        paper.sighted(0, place),
    )
    assert [s.pickup for s in run.evidence().sightings] == [0, 1, 1]


def test_an_export_stands_until_a_number_changes(
    paper: PaperMachine, scale_facts: list[Fact]
) -> None:
    run = run_of(*scale_facts, EXPORTED, Entered(tool=1))
    assert run.exported is EXPORTED
    assert run.entered == frozenset({1})
    later = run_of(*scale_facts, EXPORTED, paper.sighted(0, Position(150.0, 100.0, 5.0)))
    assert later.exported is None


def test_undo_walks_back_one_thing_at_a_time(scale_facts: list[Fact]) -> None:
    facts = list(scale_facts)
    undone = []
    while (fact := undo(run_of(*facts))) is not None:
        assert isinstance(fact, Struck)
        undone.append(fact.number)
        facts.append(fact)
    assert undone == [8, 7, 6, 5, 4, 3, 2]
    assert run_of(*facts).sightings[0].struck


def test_undo_of_a_strike_brings_the_sighting_back(scale_facts: list[Fact]) -> None:
    facts = [*scale_facts, Struck(number=4, why="glint")]
    back = undo(run_of(*facts))
    assert back == Restored(number=4)
    facts.append(back)
    assert len(run_of(*facts).scale_sightings()) == 6
    # The next undo takes back the last sighting, not the strike again.
    following = undo(run_of(*facts))
    assert isinstance(following, Struck)
    assert following.number == 8


def test_undo_never_takes_back_an_export(scale_facts: list[Fact]) -> None:
    fact = undo(run_of(*scale_facts, EXPORTED))
    assert isinstance(fact, Struck)
    assert fact.number == 8


def test_folding_twice_gives_the_same(scale_facts: list[Fact]) -> None:
    entries = entries_of(*scale_facts)
    assert fold(entries) == fold(entries)
