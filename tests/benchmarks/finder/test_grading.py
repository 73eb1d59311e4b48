"""The grading set is what it says: exact, repeatable, of every kind, usable where it must be."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.benchmarks.finder.case import Case
from tests.benchmarks.finder.grading import (
    DIRTY_KINDS,
    LOOK_ALIKE_KINDS,
    UNUSABLE_KINDS,
    dirty,
    look_alike,
    unusable,
)
from tests.benchmarks.finder.grading_draft import Draft, plain_draft, scene_of, taken
from tests.benchmarks.finder.grading_paint import (
    blob,
    insert_seams,
    lamp_images,
    lit_edge_break,
    rim_scratches,
)
from tests.benchmarks.finder.grading_visible import rim_shown
from tests.benchmarks.finder.rivals import RIVALS, Rival
from tests.vision.synthesis.measure import darkness, moment_centre
from vision.synthesis import Fill, Lamp, Light, Optics, Oval, Sensor

SETS: list[tuple[Callable[[int], Case], tuple[str, ...]]] = [
    (dirty, DIRTY_KINDS),
    (unusable, UNUSABLE_KINDS),
    (look_alike, LOOK_ALIKE_KINDS),
]
BARE = Fill(albedo=(0.02, 0.02, 0.02), gloss=0.0)
EVEN_LIGHT = Light(lamps=(Lamp(angle_rad=0.0, strength=0.0),), ambient=1.5, glint_sharpness=0.0)


def clean_draft(seed: int, **changes: object) -> Draft:
    """A tip without anything that could pull a centre aside, seen as any other."""
    draft = plain_draft(np.random.default_rng(seed)).with_tip(
        **{"turning_marks": 0.0, "grain": 0.0, "scratches": 0, "stains": 0.0},
        **{"edge_break_mm": 0.0, "burr_mm": 0.0, "bore_fill": BARE},
        **{"eccentricity_mm": (0.0, 0.0), **changes},
    )
    optics = Optics(base_blur_px=1.0, vignetting=0.0)
    return replace(draft, light=EVEN_LIGHT, optics=optics, sensor=Sensor(bayer=False))


@pytest.mark.parametrize(("draw", "kinds"), SETS)
def test_as_many_seeds_as_kinds_hold_each_once(
    draw: Callable[[int], Case], kinds: tuple[str, ...]
) -> None:
    cases = [draw(seed) for seed in range(3, 3 + len(kinds))]
    assert sorted(case.kind for case in cases) == sorted(kinds)
    for case in cases:
        assert case.frame.dtype == np.uint8
        assert (case.centre_px is not None) == (draw is dirty)
        # A printed ring counts from the edge where it gets brighter: up to 1.14 of its middle.
        assert case.radius_px is None or 9.0 < case.radius_px < 69.0


@pytest.mark.parametrize(("draw", "kinds"), SETS)
def test_one_seed_is_one_picture_and_another_is_another(
    draw: Callable[[int], Case], kinds: tuple[str, ...]
) -> None:
    first, again, other = draw(1), draw(1), draw(1 + len(kinds))
    assert np.array_equal(first.frame, again.frame)
    assert (first.centre_px, first.conditions) == (again.centre_px, again.conditions)
    assert first.kind == other.kind
    assert not np.array_equal(first.frame, other.frame)


def test_the_whole_rim_of_a_dirty_picture_is_in_view() -> None:
    for seed in range(18):
        case = dirty(seed)
        assert case.centre_px is not None
        assert case.radius_px is not None
        height, width = case.frame.shape[:2]
        (u, v), reach = case.centre_px, 1.2 * case.radius_px
        assert min(u, v, width - 1 - u, height - 1 - v) > reach


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("mirrored", [False, True])
def test_the_plane_has_the_rim_where_the_renderer_draws_it(seed: int, mirrored: bool) -> None:
    draft = clean_draft(seed, oval=Oval(axis_ratio=0.9, angle_rad=0.7))
    draft = replace(draft, tilt_rad=(0.05, -0.04), mirrored=mirrored)
    picture, plane = scene_of(draft), draft.plane
    assert plane.radius_px == pytest.approx(draft.radius_px, rel=0.01)
    found = moment_centre(picture, draft.centre_px, 1.35 * draft.radius_px)
    # The bound of the renderer's own tests, doubled for the small rims of this set.
    assert found == pytest.approx(draft.centre_px, abs=0.02)
    dark = darkness(picture).astype(np.float32)
    dark /= dark[round(draft.centre_px.v), round(draft.centre_px.u)]
    for shift_px, lowest, highest in ((-2.0, 0.9, 1.05), (0.0, 0.44, 0.56), (2.0, -0.01, 0.1)):
        ring = plane.rim_px(1.0 + shift_px / plane.radius_px, 60).astype(np.float32)[None]
        seen = np.asarray(cv2.remap(dark, ring[..., 0], ring[..., 1], cv2.INTER_LINEAR))
        assert lowest <= seen.min() <= seen.max() <= highest
        # A quarter of a pixel aside would make it 0.15 at the rim.
        assert np.ptp(seen) < 0.08


@pytest.mark.parametrize("make", [lamp_images, lit_edge_break, rim_scratches])
def test_what_is_painted_on_the_land_leaves_the_bore_dark_up_to_the_rim(
    make: Callable[[np.random.Generator], Callable[..., None]],
) -> None:
    draft = clean_draft(5)
    draft = replace(draft, optics=Optics(base_blur_px=0.0, vignetting=0.0))
    before, after = scene_of(draft), scene_of(draft.painted(make(np.random.default_rng(2))))
    patch = draft.plane.patch(1.0)
    inside = patch.rho < 1.0 - 1.5 / draft.radius_px
    change = np.abs(after - before)[patch.rows, patch.columns].max(axis=2)
    assert change[inside].max() < 1e-3
    assert change.max() > 0.02


def test_the_circles_of_an_insert_leave_the_step_at_the_rim_where_it_was() -> None:
    draft = clean_draft(7)
    picture = scene_of(draft.painted(insert_seams(np.random.default_rng(3))))
    found = moment_centre(picture, draft.centre_px, 1.12 * draft.radius_px)
    assert found == pytest.approx(draft.centre_px, abs=0.05)


def test_a_rim_shows_where_it_is_and_nowhere_else() -> None:
    draft, rng = clean_draft(9), np.random.default_rng(0)
    frame, plane = taken(draft, rng), draft.plane
    assert rim_shown(frame, plane) == 1.0
    aside = plane.centre_px._replace(u=plane.centre_px.u + 0.8 * draft.radius_px)
    assert rim_shown(frame, replace(plane, centre_px=aside)) < 0.4


def test_a_covered_bore_shows_no_rim() -> None:
    draft = clean_draft(11)
    covered = draft.painted(blob(np.random.default_rng(4), smallest=1.35, largest=1.6))
    assert rim_shown(taken(covered, np.random.default_rng(0)), draft.plane) < 0.1


@pytest.mark.parametrize("name", RIVALS)
def test_a_library_call_finds_a_clean_bore_and_nothing_in_a_blank_frame(name: str) -> None:
    rival: Rival = RIVALS[name]
    draft = clean_draft(13)
    frame = taken(draft, np.random.default_rng(0))
    found = rival(frame, 1.04 * draft.radius_px)
    assert found is not None
    # One of them answers in whole pixels.
    assert math.dist(found, draft.centre_px) < 1.0
    assert rival(np.full((240, 320, 3), 90, dtype=np.uint8), 30.0) is None
