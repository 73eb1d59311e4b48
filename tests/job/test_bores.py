"""What a run says of the width of its nozzles' bores."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest

from app.job.bores import bore_words
from app.job.facts import UNKNOWN, Fact, Position, Purpose, Sighted, Struck
from app.job.procedures import Burst, sighted_fact
from app.job.snapshot import Snapshot, snapshot_of
from tests.job.conftest import PaperMachine, make_profile, run_of
from tests.job.test_procedures import burst_of, fit_at
from vision.bore import BoreFit, RimLevels, SeenRim
from vision.geometry import PointPx

PLACE = Position(150.0, 100.0, 5.0)
UM_PER_PX = 5.5
"""About what the paper machine's pixels are worth."""


def rim(diameter_mm: float, *, oval_px: float = 0.0) -> SeenRim:
    """Return a rim as a bore with its usual broken edge shows it, in light as it is."""
    radius = (1e3 * diameter_mm + 20.0) / 2.0 / UM_PER_PX
    return SeenRim(
        semi_axes_px=(radius + oval_px / 2.0, radius - oval_px / 2.0),
        angle_rad=0.2,
        blur_px=1.0,
        sigma_px=0.02,
        dark_level=0.1,
        land_level=0.7,
    )


def seen_with(
    paper: PaperMachine, scale_facts: list[Fact], rims: Mapping[int, SeenRim | None]
) -> Snapshot:
    sighted = [replace(paper.sighted(tool, PLACE), rim=rims.get(tool)) for tool in (0, 1, 2, 0)]
    return snapshot_of(run_of(*scale_facts, *sighted))


def test_each_tool_has_its_bore_with_its_uncertainty(
    paper: PaperMachine, scale_facts: list[Fact]
) -> None:
    bores = seen_with(
        paper, scale_facts, {0: rim(0.4), 1: rim(0.4, oval_px=2.0), 2: rim(0.6)}
    ).bores
    assert sorted(bores) == [0, 1, 2]
    for tool, diameter_mm in ((0, 0.4), (1, 0.4), (2, 0.6)):
        size = bores[tool]
        assert size.diameter_um == pytest.approx(1e3 * diameter_mm, abs=size.expanded_um)
        assert 20.0 < size.expanded_um < 35.0
    # Pixels of the paper machine's camera are 1 % longer than wide: 4 um of a bore.
    assert bores[1].out_of_roundness_um == pytest.approx(2 * 2.0 * UM_PER_PX, abs=5.0)
    assert bores[0].out_of_roundness_um < 6.0


def test_a_worn_or_wrong_nozzle_is_a_note_with_both_figures(
    paper: PaperMachine, scale_facts: list[Fact]
) -> None:
    snapshot = seen_with(paper, scale_facts, {0: rim(0.41), 1: rim(0.49), 2: rim(0.8)})
    found = {f.path: f for f in snapshot.findings if f.code == "bore-size"}
    assert sorted(map(str, found)) == ["tool 1", "tool 2"]
    assert "0.40 mm is expected" in found["tool 1"].message
    assert "measures 0.49 mm" in found["tool 1"].message
    assert "measures 0.80 mm" in found["tool 2"].message
    assert not any(f.fails for f in found.values())


def test_sightings_from_before_rims_were_recorded_say_nothing_of_bores(
    paper: PaperMachine, scale_facts: list[Fact]
) -> None:
    snapshot = seen_with(paper, scale_facts, {})
    assert not snapshot.bores
    assert "bore-size" not in {f.code for f in snapshot.findings}


def test_a_struck_sighting_does_not_count(paper: PaperMachine, scale_facts: list[Fact]) -> None:
    sighted = [replace(paper.sighted(tool, PLACE), rim=rim(0.4)) for tool in (0, 1, 2, 0)]
    facts = [*scale_facts, *sighted]
    struck = Struck(number=facts.index(sighted[1]) + 1, why="a drop of plastic")
    assert sorted(snapshot_of(run_of(*facts, struck)).bores) == [0, 2]


def test_a_bore_in_words_has_its_unit_and_its_u(
    paper: PaperMachine, scale_facts: list[Fact]
) -> None:
    said = bore_words(seen_with(paper, scale_facts, {0: rim(0.4)}).bores[0])
    assert said.startswith("0.4")
    assert said.count(" mm") == 2


def sighting_of(fit: BoreFit) -> Sighted:
    run = run_of(PaperMachine(profile=make_profile(), vectors_mm={0: (0.0, 0.0)}).started())
    burst = Burst(fit=burst_of(fit), pictures=(), picture_size_px=(640, 480), camera_generation=1)
    return sighted_fact(Purpose.TOOL, 0, run, PLACE, UNKNOWN, burst, burst_of(fit))


def test_a_sighting_keeps_the_rim_of_the_frames_that_were_used() -> None:
    levels = RimLevels(dark=0.1, land=0.7, burnt_share=0.0)
    kept = sighting_of(replace(fit_at(PointPx(320.0, 240.0)), levels=levels)).rim
    assert kept is not None
    assert kept.semi_axes_px == (36.0, 36.0)
    assert (kept.dark_level, kept.land_level) == pytest.approx((0.1, 0.7))
    # Of the burst's mean, not of one frame.
    assert kept.sigma_px == pytest.approx(2e-6**0.5)
