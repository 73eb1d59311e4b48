"""Each finding is raised by a case made for it, and by no sound job."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from app.dialects.values import Layout, NozzleVectorMm, OffsetMm
from app.job.checks import Finding, Limits, check, doubt_words
from app.job.facts import Approach, Fact, Position
from app.job.observations import Evidence, MachineFigures, Observation
from app.job.offsets import learn_scale_from, solve
from app.job.profile import VECTOR_LIMIT_MM, Tool
from app.job.snapshot import limits_of, snapshot_of
from app.job.stored import expected_vectors_mm, stored_findings
from tests.job.conftest import PaperMachine, make_profile, run_of
from tests.job.paper_jobs import (
    MATRIX,
    NoisyShop,
    evidence_of,
    laplace,
    observe,
    plain_job,
    rectangular,
    scale_jogs,
    scale_of,
)
from vision.pixel_scale import PixelScale, ScaleRefusal

WIDE = Limits(tolerance_mm=1.0, vector_limit_mm=10.0, expected_mm={})
USUAL = MachineFigures(whole_steps=True)


def findings(evidence: Evidence, limits: Limits = WIDE) -> tuple[Finding, ...]:
    return check(evidence, solve(evidence, scale_of(evidence)), limits)


def only(evidence: Evidence, limits: Limits = WIDE) -> Finding:
    found = findings(evidence, limits)
    assert len(found) == 1, [f.code for f in found]
    return found[0]


def codes(found: tuple[Finding, ...]) -> list[str]:
    return [f.code for f in found]


def job(*changed: tuple[int, Observation], figures: MachineFigures = USUAL) -> Evidence:
    evidence = plain_job(figures)
    sightings = [*evidence.sightings]
    for index, seen in changed:
        sightings[index] = replace(seen, path=sightings[index].path, pickup=sightings[index].pickup)
    return replace(evidence, sightings=tuple(sightings))


def test_a_sound_job_has_a_clean_bill() -> None:
    assert findings(plain_job(USUAL)) == ()


def test_every_finding_is_a_sentence_and_says_what_to_do() -> None:
    evidence = replace(plain_job(USUAL), sightings=plain_job(USUAL).sightings[:2])
    found = only(evidence)
    assert found.message.endswith(".")
    assert "again" in found.message


def test_a_mirrored_picture_is_told() -> None:
    mirrored = MATRIX * np.array([[-1.0], [1.0]])
    evidence = evidence_of(
        observe(0, (150.0, 100.0), matrix=mirrored),
        observe(1, (150.3, 99.9), matrix=mirrored),
        observe(0, (150.0, 100.0), matrix=mirrored),
        jogs=scale_jogs(mirrored),
    )
    found = only(evidence)
    assert found.code == "mirrored-picture"
    assert not found.fails


def test_a_doubtful_entry_is_named_with_what_the_picture_says() -> None:
    jogs = [*scale_jogs()]
    typed = jogs[3].shown_mm._replace(x=round(jogs[3].shown_mm.x + 0.04, 3))
    jogs[3] = replace(jogs[3], shown_mm=typed)
    sound = plain_job(replace(USUAL, repeatability_um=2.0, motor_step_mm=0.001))
    found = only(replace(sound, scale_jogs=tuple(jogs)))
    assert found.code == "entry-doubtful"
    assert found.path == "scale_jogs[3]"
    assert found.fails
    assert "The 4th position reads X 149.56; the picture says 149.52" in found.message


def test_exchanged_digits_are_those_that_the_display_showed() -> None:
    offset = OffsetMm(1.27, 0.0, 0.0)
    jogs = [
        replace(
            jog,
            shown_mm=jog.shown_mm._replace(x=round(jog.shown_mm.x + 1.27, 2)),
            in_display_mm=offset,
        )
        for jog in scale_jogs()
    ]
    assert jogs[3].shown_mm.x == pytest.approx(150.79)
    typed = jogs[3].shown_mm._replace(x=150.97)
    jogs[3] = replace(jogs[3], shown_mm=typed)
    refusal = learn_scale_from(replace(plain_job(USUAL), scale_jogs=tuple(jogs)))
    assert isinstance(refusal, ScaleRefusal)
    said = "he 4th position reads X 150.97; the picture says 150.79 (two digits exchanged?)"
    assert doubt_words(refusal.doubtful, jogs, 2) == f"T{said}"
    # Without the display's offset these would be 149.70 and 149.52: no exchange.
    assert refusal.message == f"t{said}"


def test_a_reference_that_came_back_elsewhere_is_a_failed_check() -> None:
    evidence = job((3, observe(0, (150.0, 100.0), off_mm=(0.06, -0.05))))
    found = next(f for f in findings(evidence) if f.code == "closure")
    assert found.fails
    assert found.path == "sightings[3]"
    assert "+60 um in X and -50 um in Y" in found.message


def test_a_closure_within_the_machines_scatter_is_none() -> None:
    evidence = job((3, observe(0, (150.0, 100.0), off_mm=(0.012, -0.009))))
    assert findings(evidence) == ()


def test_a_reference_that_was_sighted_once_is_told() -> None:
    evidence = plain_job(USUAL)
    found = only(replace(evidence, sightings=evidence.sightings[:3]))
    assert found.code == "no-closure"
    assert not found.fails


def test_a_sighting_that_disagrees_with_its_like_is_named() -> None:
    ends = observe(0, (150.0, 100.0))
    evidence = evidence_of(
        ends,
        observe(1, (150.34, 99.88)),
        ends,
        observe(1, (150.34, 99.88), off_mm=(0.1, 0.0)),
        ends,
        observe(1, (150.34, 99.88)),
        ends,
        figures=USUAL,
    )
    found = next(f for f in findings(evidence) if f.code == "sightings-disagree")
    assert found.fails
    assert found.path == "sightings[3]"
    assert "sightings[1], sightings[3], sightings[5]" in found.message
    assert "sightings[3] is off by +0.067 mm in X" in found.message


def test_repeats_in_one_place_that_differ_as_the_machine_scatters_are_no_alarm() -> None:
    ends = observe(0, (150.0, 100.0))
    evidence = evidence_of(
        ends,
        observe(1, (150.34, 99.88)),
        observe(1, (150.34, 99.88), off_mm=(0.008, -0.006)),
        ends,
        figures=USUAL,
    )
    assert findings(evidence) == ()


def test_a_changed_size_of_the_reference_bore_is_a_changed_zoom() -> None:
    found = only(job((3, observe(0, (150.0, 100.0), radius=39.0))))
    assert found.code == "size-changed"
    assert found.path == "sightings[3]"
    assert "39.0 px" in found.message
    assert "36.0 px" in found.message


def test_another_tools_bore_may_have_another_size() -> None:
    assert findings(job((1, observe(1, (150.34, 99.87), radius=70.0)))) == ()


def test_a_size_that_nobody_measured_is_no_change() -> None:
    assert findings(job((3, observe(0, (150.0, 100.0), radius=None)))) == ()


@pytest.mark.parametrize("layout", list(Layout))
def test_a_vector_beyond_what_the_layout_allows_is_a_failed_check(layout: Layout) -> None:
    limit = VECTOR_LIMIT_MM[layout]
    expected = {1: NozzleVectorMm(18.0, 0.0)}
    vectors = {0: (0.0, 0.0), 1: (18.0 + limit + 0.2, 0.0)}
    evidence = evidence_of(
        observe(0, (150.0, 100.0)),
        observe(1, (150.0 - vectors[1][0], 100.0), vectors=vectors),
        observe(0, (150.0, 100.0)),
        figures=USUAL,
    )
    limits = replace(WIDE, vector_limit_mm=limit, expected_mm=expected, layout=layout)
    found = only(evidence, limits)
    assert found.code == "vector-beyond-layout"
    assert found.path == "tool 1"
    assert layout.value in found.message
    assert f"{limit + 0.2:.2f} mm" in found.message
    within = replace(limits, vector_limit_mm=limit + 0.3)
    assert findings(evidence, within) == ()


def test_an_uncertainty_above_the_tolerance_names_what_contributes_most() -> None:
    figures = replace(USUAL, pickup_repeatability_um=30.0)
    found = findings(plain_job(figures), replace(WIDE, tolerance_mm=0.02))
    assert codes(found) == ["uncertainty-above-tolerance"] * 2
    assert [f.path for f in found] == ["tool 1", "tool 2"]
    assert "Most of it is pick-up: take the tool again" in found[0].message
    assert found[0].fails


def test_an_unknown_reversal_is_told_where_sides_differ() -> None:
    evidence = job((1, observe(1, (150.34, 99.87), approach=Approach(-1, 1))))
    found = only(evidence)
    assert found.code == "reversal-unknown"
    assert not found.fails
    known = replace(evidence, figures=replace(USUAL, reversal_um=10.0))
    assert findings(known) == ()


def test_sides_that_nobody_noted_are_told() -> None:
    evidence = job((1, observe(1, (150.34, 99.87), approach=Approach())))
    found = only(evidence)
    assert found.code == "reversal-unknown"
    assert "It is not said" in found.message


def test_heights_by_focus_are_told_with_their_doubt() -> None:
    found = only(job((1, observe(1, (150.34, 99.87), z=5.05))))
    assert found.code == "height-by-focus"
    assert "+-0.10 mm" in found.message


class TestOfTheRun:
    def codes(self, paper: PaperMachine, facts: list[Fact], *more: Fact) -> list[str]:
        place = Position(150.0, 100.0, 5.0)
        run = run_of(*facts, paper.sighted(0, place), paper.sighted(1, place), *more)
        return codes(snapshot_of(run).findings)

    def test_a_sound_one_is_clean(self, paper: PaperMachine, scale_facts: list[Fact]) -> None:
        back = paper.sighted(0, Position(150.0, 100.0, 5.0))
        assert self.codes(paper, scale_facts, back) == []

    def test_a_picture_of_another_size(self, paper: PaperMachine, scale_facts: list[Fact]) -> None:
        back = paper.sighted(0, Position(150.0, 100.0, 5.0))
        changed = replace(back, picture_size_px=(1280, 960))
        assert self.codes(paper, scale_facts, changed) == ["picture-size-changed"]

    def test_a_camera_that_was_opened_anew(
        self, paper: PaperMachine, scale_facts: list[Fact]
    ) -> None:
        back = paper.sighted(0, Position(150.0, 100.0, 5.0))
        changed = replace(back, camera_generation=2)
        assert self.codes(paper, scale_facts, changed) == ["camera-reopened"]

    def test_the_limits_are_the_profiles(self) -> None:
        profile = make_profile(
            layout=Layout.FIXED_NOZZLES,
            tools=(
                Tool(number=3, nominal_mm=(1.0, 2.0)),
                Tool(number=5, nominal_mm=(19.0, 2.5)),
            ),
            reference_tool=3,
            vector_limit_mm=1.0,
            tolerance_mm=0.05,
        )
        limits = limits_of(profile)
        assert limits.expected_mm[5] == NozzleVectorMm(18.0, 0.5)
        assert (limits.tolerance_mm, limits.vector_limit_mm) == (0.05, 1.0)


@pytest.mark.parametrize(
    ("dialect", "stored", "code", "tool"),
    [
        ("marlin", {0: OffsetMm(0.1), 1: OffsetMm()}, "stored-first-tool", 0),
        ("marlin-two-carriages", {1: OffsetMm(-5.0)}, "stored-home-x", 1),
        ("marlin-two-carriages", {1: OffsetMm(353.0), 2: OffsetMm()}, "stored-tool-unknown", 2),
        ("slicer", {1: OffsetMm(0.1, 0.1, 0.3)}, "stored-axis-unknown", 1),
        ("klipper-macro", {1: OffsetMm(float("nan"))}, "stored-not-finite", 1),
    ],
)
def test_stored_values_that_a_firmware_cannot_have_are_failed_checks(
    dialect: str, stored: dict[int, OffsetMm], code: str, tool: int
) -> None:
    found = stored_findings(dialect, stored, {})
    assert found == stored_findings(dialect, {}, stored)
    assert [(f.code, f.path, f.fails) for f in found] == [(code, f"tool {tool}", True)]


def test_stored_values_that_a_firmware_can_have_are_no_finding() -> None:
    assert stored_findings("marlin", {0: OffsetMm(), 1: OffsetMm(-0.34, 0.12, -0.05)}, {}) == ()


def test_nozzles_are_expected_where_the_stored_values_put_them() -> None:
    stored = {0: OffsetMm(0.1, 0.0, 0.0), 1: OffsetMm(-0.24, 0.12, 0.0)}
    assert expected_vectors_mm("reprapfirmware", stored, 0)[1] == pytest.approx(
        NozzleVectorMm(-0.34, 0.12), abs=1e-12
    )
    turned = {n: OffsetMm(-raw.x, -raw.y, 0.0) for n, raw in stored.items()}
    x, y, _ = expected_vectors_mm("klipper-macro", turned, 0)[1]
    assert (x, y) == pytest.approx((-0.34, 0.12))


@pytest.mark.slow
def test_sound_jobs_raise_hardly_any_alarm() -> None:
    """What is shown as failed has to be believed: under 2 % of sound jobs."""
    shops = (
        NoisyShop(figures=USUAL),
        NoisyShop(repeats=laplace),
        NoisyShop(figures=replace(USUAL, reversal_um=20.0), sides=(-1, 1), rounds=2),
        NoisyShop(figures=replace(USUAL, motor_step_mm=0.02), repeats=rectangular, rounds=2),
    )
    rng = np.random.default_rng(12)
    alarms: Counter[str] = Counter()
    wrong = 0
    for i in range(300):
        evidence = shops[i % len(shops)].job(rng)
        scale = learn_scale_from(evidence)
        assert isinstance(scale, PixelScale), scale.message
        failed = {f.code for f in check(evidence, solve(evidence, scale), WIDE) if f.fails}
        alarms.update(failed)
        wrong += bool(failed)
    assert wrong < 6, alarms
