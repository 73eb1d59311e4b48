"""What follows from a run beyond its offsets."""

from __future__ import annotations

from dataclasses import replace

from app.dialects.values import NozzleVectorMm
from app.job.facts import Exported, ExportedTool, Fact, MirrorAccepted, Position, Retyped, Sighted
from app.job.run import Run
from app.job.snapshot import snapshot_of
from tests.job.conftest import PaperMachine, run_of
from vision.geometry import CovMm2

PLACE = Position(150.0, 100.0, 5.0)


def sighted_all(paper: PaperMachine, scale_facts: list[Fact]) -> list[Fact]:
    tools = [paper.sighted(tool, PLACE) for tool in (0, 1, 2, 0)]
    return [*scale_facts, *tools]


def exported(x_mm: float) -> Exported:
    """Return an export of tool 1 as an older version might have had it."""
    tool = ExportedTool(
        tool=1,
        nozzle_vector_mm=NozzleVectorMm(x_mm, 0.12),
        covariance_mm2=CovMm2(1e-5, 0.0, 1e-5),
        expanded_uncertainty_mm=(0.01, 0.01, None),
        new_stored=None,
    )
    return Exported(
        tools=(tool,), settings_text="", moves_text="", warnings=(), algorithm="offsets-0"
    )


def codes(run: Run) -> set[str]:
    return {found.code for found in snapshot_of(run).findings}


def test_an_export_with_the_same_numbers_is_not_mentioned(
    paper: PaperMachine, scale_facts: list[Fact]
) -> None:
    facts = sighted_all(paper, scale_facts)
    assert "differs-from-export" not in codes(run_of(*facts, exported(-0.34)))


def test_an_export_with_other_numbers_is_told_with_both_versions(
    paper: PaperMachine, scale_facts: list[Fact]
) -> None:
    run = run_of(*sighted_all(paper, scale_facts), exported(-0.343))
    (found,) = [f for f in snapshot_of(run).findings if f.code == "differs-from-export"]
    assert found.fails
    assert "3.0 um" in found.message
    assert "offsets-0" in found.message


def test_an_answered_mirror_question_is_not_asked_again(
    paper: PaperMachine, scale_facts: list[Fact]
) -> None:
    mirrored = PaperMachine(
        profile=paper.profile, vectors_mm=paper.vectors_mm, matrix=paper.matrix * [[-1.0], [1.0]]
    )

    def seen(fact: Fact) -> Fact:
        if not isinstance(fact, Sighted):
            return fact
        return replace(fact, centre_px=mirrored.centre(fact.tool, fact.position[:2]))

    facts = [seen(fact) for fact in sighted_all(paper, scale_facts)]
    assert "mirrored-picture" in codes(run_of(*facts))
    assert "mirrored-picture" not in codes(run_of(*facts, MirrorAccepted(mirrored=True)))


def test_a_position_outside_the_travel_is_named_by_its_entry(
    paper: PaperMachine, scale_facts: list[Fact]
) -> None:
    travel = ((0.0, 300.0), (0.0, 300.0), (0.0, 250.0))
    facts = sighted_all(paper, scale_facts)
    facts[0] = replace(paper.started(), profile=replace(paper.profile, travel_mm=travel))
    assert "position-impossible" not in codes(run_of(*facts))
    mistyped = Retyped(number=len(facts) - 1, position=Position(1500.0, 100.0, 5.0))
    run = run_of(*facts, mistyped)
    (found,) = [f for f in snapshot_of(run).findings if f.code == "position-impossible"]
    assert found.path == f"entry {len(facts) - 1}"
    assert found.fails
    assert "outside the travel" in found.message
