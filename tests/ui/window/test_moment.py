"""What the desk remembers from one event to the next; no threads, no Qt."""

from __future__ import annotations

from dataclasses import replace

import pytest

from app.job.by_hand import Typed
from app.job.facts import Fact, Position
from app.job.interfaces import CameraState
from app.job.sheet import (
    ConfirmMirror,
    EnterOffsets,
    Export,
    HomeFirst,
    Prepare,
    SightScale,
    SightTool,
)
from app.job.snapshot import snapshot_of
from app.ui.moment import (
    BORE_KEY,
    LIGHT_KEY,
    Moment,
    first_moment,
    prior_of,
    state_of,
    told,
    with_glance,
    with_recorded,
)
from app.ui.state import Refused, Weight
from app.wiring.glance import Glance
from tests.job.conftest import run_of
from tests.ui.states import HERON, LIVE, LOST, facts_until, fit, glance
from tests.ui.window.seat import half_scale, until
from vision.bore import BoreFit


def moment_after(facts: list[Fact]) -> Moment:
    return first_moment(
        run_id="run",
        camera_name="paper",
        history={},
        snapshot=snapshot_of(run_of(*facts)),
        thumbnails={},
    )


def lit(mean: float, *, at_s: float = 1.0, sharp: float = 0.01) -> Glance:
    """Return a glance at a bore in a light."""
    plain = glance(fit())
    return replace(
        plain,
        seen=replace(plain.seen, arrived_at_s=at_s),
        exposure=replace(plain.exposure, mean=mean, bright=2.0 * mean),
        sharpness=sharp,
    )


def keys(moment: Moment) -> list[str]:
    return [notice.key for notice in moment.notices]


def test_a_matter_is_told_once_and_the_weightiest_first() -> None:
    notices = told((), "file", "Saved.", weight=Weight.NOTE)
    notices = told(notices, "light", "Darker.")
    notices = told(notices, "records", "Full.", weight=Weight.FAULT)
    notices = told(notices, "light", "Darker still.")
    assert [n.sentence for n in notices] == ["Full.", "Darker still.", "Saved."]
    assert [n.key for n in told(notices, "light", None)] == ["records", "file"]


def test_a_run_begins_before_its_camera_is_open() -> None:
    state = state_of(moment_after(half_scale()))
    assert state.camera.state is CameraState.OPENING
    assert state.blocked == "The camera is being opened."


def test_the_fields_are_filled_in_where_the_next_step_begins() -> None:
    facts = facts_until(lambda step: isinstance(step, SightTool) and step.tool == 1)
    before = moment_after(facts[:-1])
    before = replace(
        before,
        typed=Typed(x="1", y="2"),
        refused=Refused(sentence="No.", remedy=""),
        keep_doubtful=True,
    )
    after = with_recorded(before, snapshot_of(run_of(*facts)), {})
    assert (after.typed.x, after.typed.y) == ("150.00", "100.00")
    assert after.refused is None
    assert not after.keep_doubtful
    assert after.steadiness is None
    same = with_recorded(before, before.snapshot, {})
    assert same.typed == before.typed


def test_read_warnings_count_only_while_the_result_stands() -> None:
    facts = until(EnterOffsets)
    before = replace(moment_after(until(Export)), acknowledged=True)
    assert with_recorded(before, snapshot_of(run_of(*facts)), {}).acknowledged
    back = snapshot_of(run_of(*half_scale()))
    assert not with_recorded(before, back, {}).acknowledged


def test_light_that_drifts_is_told_until_it_is_as_it_was() -> None:
    moment = with_glance(moment_after(half_scale()), lit(0.4))
    assert keys(moment) == []
    darker = with_glance(moment, lit(0.2, at_s=2.0))
    assert keys(darker) == [LIGHT_KEY]
    assert keys(with_glance(darker, lit(0.4, at_s=3.0))) == []


def test_light_is_not_judged_before_the_first_sighting() -> None:
    facts = half_scale()[:2]
    moment = with_glance(with_glance(moment_after(facts), lit(0.4)), lit(0.2, at_s=2.0))
    assert moment.first_light is None
    assert keys(moment) == []


def test_light_is_judged_anew_at_another_tool() -> None:
    facts = facts_until(lambda step: isinstance(step, SightTool) and step.tool == 1)
    moment = with_glance(moment_after(facts[:-1]), lit(0.4))
    assert moment.first_light is not None
    assert with_recorded(moment, snapshot_of(run_of(*facts)), {}).first_light is None


def test_a_bore_of_another_size_is_told_in_mm_while_it_is_in_view() -> None:
    moment = moment_after(facts_until(lambda step: isinstance(step, SightTool) and step.tool == 1))
    right = fit()
    assert isinstance(right, BoreFit)
    other = replace(right, size_verified=False, size_note="The radius is another one.")
    seen = with_glance(moment, glance(other))
    (notice,) = [notice for notice in seen.notices if notice.key == BORE_KEY]
    assert notice.weight is Weight.WARNING
    assert "0.40 mm is expected" in notice.sentence
    assert BORE_KEY not in keys(with_glance(seen, glance(right)))


def test_a_bore_of_any_size_is_found_once_the_scale_is_known() -> None:
    moment = moment_after(facts_until(lambda step: isinstance(step, SightTool) and step.tool == 1))
    prior = prior_of(moment.snapshot)
    assert prior is not None
    assert not prior.strict


def test_the_sharpest_picture_is_remembered() -> None:
    moment = moment_after(half_scale())
    for sharp in (0.01, 0.03, 0.02):
        moment = with_glance(moment, lit(0.4, sharp=sharp))
    assert moment.sharpest == 0.03


def test_the_bore_is_looked_for_by_its_size_once_there_is_a_scale() -> None:
    assert prior_of(snapshot_of(run_of(*until(SightScale)))) is None
    prior = prior_of(snapshot_of(run_of(*until(SightTool))))
    assert prior is not None
    # 0.4 mm across, in a picture of about 182 px per mm.
    assert prior.radius_px == pytest.approx(36.4, rel=0.02)
    assert prior_of(snapshot_of(run_of(*until(Export)))) is None


def test_a_camera_that_is_lost_blocks_with_its_own_words() -> None:
    moment = with_glance(moment_after(until(SightTool)), glance(fit()))
    assert state_of(replace(moment, camera=LOST)).blocked == LOST.sentence
    assert state_of(replace(moment, camera=LIVE, saving=True)).blocked
    # What needs no picture goes on without one.
    homing = moment_after(until(HomeFirst, profile=HERON))
    assert state_of(replace(homing, camera=LOST)).blocked == ""


def test_a_place_is_read_only_where_one_is_asked_for() -> None:
    for kind in (Prepare, Export, EnterOffsets):
        assert moment_after(until(kind)).entry is None
    assert moment_after(until(ConfirmMirror, mirrored=True)).entry is None
    entry = moment_after(until(SightTool)).entry
    assert entry is not None
    assert entry.place is not None
    assert entry.place[:2] == Position(150.0, 100.0)[:2]


def test_stored_offsets_stand_beside_a_whole_result_only() -> None:
    assert state_of(moment_after(until(SightTool))).stored is None
    assert state_of(moment_after(until(Export))).stored is not None
