"""Sighting without a key: only what stands still, and never one place twice."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from app.job.by_hand import Agreement, PlaceEntry, Typed, prefilled, read_place
from app.job.facts import Fact, Homed, Position, Prepared, Purpose, Sighted, Struck
from app.job.live import Seen
from app.job.sheet import PREPARATION, SightScale, SightTool, next_step
from app.job.snapshot import Snapshot, snapshot_of
from app.job.steady import Steadiness, may_sight, restarted, watch
from tests.job.conftest import JOGS, PaperMachine, make_profile, run_of
from vision.bore import BoreFit, BoreRefusal, Reason
from vision.geometry import CovPx2, PointPx

QUIET = CovPx2(1e-4, 0.0, 1e-4)
NOTHING = BoreRefusal(reason=Reason.NO_ROUND_EDGE, message="No.", remedy="Do.")
START = Position(150.0, 100.0, 5.0)
PAPER = PaperMachine(
    profile=make_profile(), vectors_mm={0: (0.0, 0.0), 1: (-0.34, 0.12), 2: (0.21, -0.5)}
)


def bore(centre: PointPx, noise: CovPx2 = QUIET) -> BoreFit:
    return BoreFit(
        centre_px=centre,
        temporal_cov_px2=noise,
        static_cov_px2=QUIET,
        radius_px=36.0,
        semi_axes_px=(36.0, 36.0),
        angle_rad=0.0,
        rim_px=np.empty((0, 2)),
        arc_covered=1.0,
        contrast=0.6,
        blur_px=2.0,
        residual_px=0.1,
        size_verified=False,
    )


def seen(at_s: float, answer: BoreFit | BoreRefusal, generation: int = 1) -> Seen:
    return Seen(frame_id=1, arrived_at_s=at_s, camera_generation=generation, fit=answer)


def stood(*answers: tuple[float, BoreFit | BoreRefusal], generation: int = 1) -> Steadiness:
    """Return what is known after these answers at these times."""
    steadiness: Steadiness | None = None
    for at_s, answer in answers:
        steadiness = watch(steadiness, seen(at_s, answer, generation))
    assert steadiness is not None
    return steadiness


def resting(centre: PointPx, *, after_loss: bool = False, generation: int = 1) -> Steadiness:
    lost = [(k / 10.0, NOTHING) for k in range(6)] if after_loss else []
    still = [(1.0 + k / 10.0, bore(centre)) for k in range(12)]
    return stood(*lost, *still, generation=generation)


def scale_facts(count: int, paper: PaperMachine = PAPER) -> list[Fact]:
    """Return a run with so many places of the scale."""
    places = [Position(START.x + dx, START.y + dy, START.z) for dx, dy in JOGS[:count]]
    sightings = [paper.sighted(0, place, purpose=Purpose.SCALE) for place in places]
    return [paper.started(), Prepared(ticked=PREPARATION), *sightings]


@cache
def snapshot(count: int) -> Snapshot:
    return snapshot_of(run_of(*scale_facts(count)))


def entry_of(now: Snapshot, typed: Typed | None = None) -> PlaceEntry:
    """Return what the fields say as they were filled in, the picture not being asked."""
    step = next_step(now)
    assert isinstance(step, SightScale | SightTool)
    return read_place(step, now, typed or prefilled(step, now), None)


def sights(now: Snapshot, steadiness: Steadiness, entry: PlaceEntry | None = None) -> bool:
    return may_sight(next_step(now), now, steadiness, entry or entry_of(now))


def expected_px(now: Snapshot, tool: int = 0) -> PointPx:
    step = next_step(now)
    assert isinstance(step, SightScale | SightTool)
    assert step.expected is not None
    return PAPER.centre(tool, step.expected[:2])


HERE = PointPx(300.0, 200.0)


def test_it_takes_a_second_of_standing_still() -> None:
    assert not stood(*((k / 10.0, bore(HERE)) for k in range(10))).is_steady
    assert stood(*((k / 10.0, bore(HERE)) for k in range(11))).is_steady


def test_a_small_stir_is_still_and_a_creep_is_not() -> None:
    trembling = [(k / 10.0, bore(PointPx(300.0 + 0.2 * (k % 2), 200.0))) for k in range(12)]
    creeping = [(k / 10.0, bore(PointPx(300.0 + 0.1 * k, 200.0))) for k in range(30)]
    assert stood(*trembling).is_steady
    assert not stood(*creeping).is_steady


@pytest.mark.parametrize(("sigma_px", "is_still"), [(0.05, False), (0.25, True)])
def test_a_noisy_picture_may_stir_by_its_noise(sigma_px: float, is_still: bool) -> None:
    noise = CovPx2(sigma_px**2, 0.0, sigma_px**2)
    answers = [(k / 10.0, bore(PointPx(300.0 + 0.9 * (k % 2), 200.0), noise)) for k in range(12)]
    assert stood(*answers).is_steady is is_still


@pytest.mark.parametrize("between", [NOTHING, bore(PointPx(340.0, 200.0))])
def test_a_loss_or_a_jump_begins_anew(between: BoreFit | BoreRefusal) -> None:
    before = [(k / 10.0, bore(HERE)) for k in range(8)]
    after = [(0.9 + k / 10.0, bore(HERE)) for k in range(8)]
    assert not stood(*before, (0.8, between), *after).is_steady


def test_a_camera_that_stalled_or_came_back_begins_anew() -> None:
    assert not stood((0.0, bore(HERE)), (5.0, bore(HERE))).is_steady
    before = stood((0.0, bore(HERE)), (0.8, bore(HERE)))
    assert not watch(before, seen(1.2, bore(HERE), generation=2)).is_steady


def test_an_older_answer_changes_nothing() -> None:
    now = resting(HERE)
    assert watch(now, seen(0.2, NOTHING)) == now


def test_a_typed_key_begins_the_second_anew() -> None:
    assert not restarted(resting(HERE)).is_steady


def test_one_refusal_is_no_loss_and_some_frames_are() -> None:
    assert not stood((0.0, bore(HERE)), (0.1, NOTHING), (0.2, bore(HERE))).was_lost
    gone = stood((0.0, bore(HERE)), (0.1, NOTHING), (0.5, NOTHING), (0.6, bore(HERE)))
    assert gone.was_lost


def test_the_first_place_is_the_persons() -> None:
    entry = entry_of(snapshot(0), Typed(x="150.00", y="100.00", last_jogs_plus=True))
    assert entry.place is not None
    assert not sights(snapshot(0), resting(HERE, after_loss=True), entry)


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5, 6])
def test_each_jog_that_was_made_is_sighted(count: int) -> None:
    now = snapshot(count)
    assert sights(now, resting(expected_px(now)))


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5, 6])
def test_where_the_last_one_was_sighted_nothing_is(count: int) -> None:
    now = snapshot(count)
    last = now.run.sightings[-1].seen.centre_px
    assert not sights(now, resting(last))
    # Not even after a hand went through the picture.
    assert not sights(now, resting(last, after_loss=True))


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5])
@pytest.mark.parametrize("share", [0.5, 1.5])
def test_half_a_jog_and_one_and_a_half_are_not(count: int, share: float) -> None:
    now = snapshot(count)
    last, goal = (np.array(p) for p in (now.run.sightings[-1].seen.centre_px, expected_px(now)))
    assert not sights(now, resting(PointPx(*(last + share * (goal - last)))))


@pytest.mark.parametrize("count", [4, 5])
def test_with_a_scale_the_direction_counts(count: int) -> None:
    now = snapshot(count)
    last, goal = (np.array(p) for p in (now.run.sightings[-1].seen.centre_px, expected_px(now)))
    assert not sights(now, resting(PointPx(*(last - (goal - last)))))


def test_the_same_jog_is_not_taken_twice_after_it_was_struck() -> None:
    facts = scale_facts(4)
    now = snapshot_of(run_of(*facts, Struck(number=len(facts), why="glint")))
    struck = now.run.sightings[-1].seen
    assert not sights(now, resting(struck.centre_px))


def test_not_before_it_is_steady() -> None:
    now = snapshot(2)
    assert not sights(now, stood((0.0, bore(expected_px(now)))))
    assert not sights(now, stood((0.0, NOTHING), (2.0, NOTHING)))


@pytest.mark.parametrize(
    "wrong", [{"place": None}, {"problem": "Type X."}, {"doubt": "X reads 1; the picture says 2."}]
)
def test_not_with_anything_against_the_place(wrong: dict[str, object]) -> None:
    now = snapshot(2)
    entry = replace(entry_of(now), **wrong)  # type: ignore[arg-type]  # names fields of it
    assert not sights(now, resting(expected_px(now)), entry)


def test_not_with_another_generation_of_the_camera() -> None:
    now = snapshot(2)
    assert not sights(now, resting(expected_px(now), generation=2))


def tool_snapshot(*more: Fact) -> Snapshot:
    """Return a run in which the reference was sighted, so that tool 1 comes next."""
    reference: Sighted = PAPER.sighted(0, START)
    return snapshot_of(run_of(*scale_facts(6), reference, *more))


def test_another_tool_is_sighted_once_the_last_one_has_gone() -> None:
    now = tool_snapshot()
    centre = expected_px(now, tool=1)
    checked = agreeing(entry_of(now))
    assert not sights(now, resting(centre), checked)
    assert sights(now, resting(centre, after_loss=True), checked)


def test_another_tool_is_not_sighted_where_the_picture_cannot_check_the_place() -> None:
    # The filled-in place of a tool that was never sighted may be read wrongly off the display.
    now = tool_snapshot()
    assert not sights(now, resting(expected_px(now, tool=1), after_loss=True))


def test_a_struck_tool_is_not_sighted_again_where_it_stands() -> None:
    tool = PAPER.sighted(1, START)
    number = len(scale_facts(6)) + 2
    now = tool_snapshot(tool, Struck(number=number, why="glint"))
    assert next_step(now).tool == 1  # type: ignore[union-attr]  # fails where there is none
    assert not sights(now, resting(tool.centre_px))


def test_what_asks_for_no_place_sights_nothing() -> None:
    paper = replace(PAPER, profile=make_profile(homes_between_tools=True))
    facts = [*scale_facts(6, paper), paper.sighted(0, START)]
    homing = snapshot_of(run_of(*facts))
    entry = entry_of(snapshot(2))
    assert not may_sight(next_step(homing), homing, resting(HERE, after_loss=True), entry)
    homed = snapshot_of(run_of(*facts, Homed(tool=1)))
    assert sights(homed, resting(HERE, after_loss=True), agreeing(entry_of(homed)))


def agreeing(entry: PlaceEntry) -> PlaceEntry:
    """Return fields of which the picture says that they are right."""
    axes = tuple(replace(axis, agreement=Agreement.AGREES) for axis in entry.axes)
    return replace(entry, axes=axes)
