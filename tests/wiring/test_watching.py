"""Two threads look at a camera: the newest wins, and a sighting takes only frames that count."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from app.bench import BenchCamera, RealClock, bench_profile, make_world
from app.job.interfaces import CameraState, PictureKind
from app.wiring.bursts import moved_between
from app.wiring.glance import BurstFailed, BurstTaken
from app.wiring.watching import DEFAULT_WATCH, Watching, bgra_of
from tests.wiring.watch_fakes import CENTRE, SIZE, CommandedCamera, Ears, tip
from vision.bore import BoreFit, BoreRefusal, BurstFit, RadiusPrior, combine_burst, find_bore
from vision.coarse_focus import coarse_sharpness
from vision.exposure import exposure_of
from vision.geometry import CovPx2, PointPx

SETTINGS = replace(DEFAULT_WATCH, frames=6, patience_s=3600.0)


@pytest.fixture
def camera() -> CommandedCamera:
    return CommandedCamera()


@pytest.fixture
def ears() -> Ears:
    return Ears()


@pytest.fixture
def watching(camera: CommandedCamera, ears: Ears) -> Iterator[Watching]:
    with closing(Watching(camera, ears, SETTINGS)) as watching:
        yield watching


def watch_threads() -> list[str]:
    names = [thread.name for thread in threading.enumerate()]
    return [name for name in names if name.startswith(("viewing", "measuring"))]


def begin(watching: Watching, ears: Ears) -> int:
    """Ask for a sighting and wait until it is begun: frames that are allowed then are its own."""
    told = len(ears.told)
    ask = watching.sight()
    ears.wait_until(lambda: len(ears.told) > told)
    return ask


# Pictures and glances ------------------------------------------------------------------


def test_a_picture_is_told_of_once_until_it_is_taken_and_the_newest_wins(
    camera: CommandedCamera, ears: Ears, watching: Watching
) -> None:
    for number in (1, 2, 3):
        camera.give()
        ears.wait_until(lambda n=number: watching.tally().pictures == n)  # type: ignore[misc]  # a default binds the loop's value
    assert ears.pictures == 1

    shown = watching.picture()
    assert shown is not None
    assert shown.frame.frame_id == 3
    assert watching.picture() is None
    assert watching.tally().pictures_dropped == 2

    camera.give()
    ears.wait_until(lambda: ears.pictures == 2)


def test_a_frame_is_handed_over_as_it_came_and_ready_to_be_painted(
    camera: CommandedCamera, ears: Ears, watching: Watching
) -> None:
    given = camera.give()
    ears.wait_until(lambda: ears.pictures == 1)

    shown = watching.picture()
    assert shown is not None
    assert shown.frame is given
    np.testing.assert_array_equal(shown.bgra, bgra_of(given.image))


def test_a_glance_holds_what_was_measured_of_one_frame(
    camera: CommandedCamera, ears: Ears, watching: Watching
) -> None:
    frame = camera.give()
    ears.wait_until(lambda: ears.glances == 1)

    glance = watching.glance()
    assert glance is not None
    assert isinstance(glance.seen.fit, BoreFit)
    assert np.hypot(*np.subtract(glance.seen.fit.centre_px, CENTRE)) < 0.1
    assert (glance.seen.frame_id, glance.seen.arrived_at_s) == (1, frame.arrived_at_s)
    assert glance.sharpness == coarse_sharpness(frame.image)
    assert glance.exposure == exposure_of(frame.image)
    assert glance.picture_size_px == SIZE
    assert glance.took_s > 0.0
    assert watching.glance() is None


def test_the_radius_that_was_set_last_is_looked_for(
    camera: CommandedCamera, ears: Ears, watching: Watching
) -> None:
    def verified() -> bool:
        camera.give()
        ears.wait_until(lambda: ears.glances > asked)
        glance = watching.glance()
        assert glance is not None
        assert isinstance(glance.seen.fit, BoreFit)
        return glance.seen.fit.size_verified

    asked = 0
    assert not verified()
    watching.look_for(RadiusPrior(radius_px=24.0))
    asked = ears.glances
    assert verified()
    watching.look_for(None)
    asked = ears.glances
    assert not verified()


def as_bgr(grey: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return np.repeat(grey[:, :, None], 3, axis=2)


@pytest.mark.parametrize(
    "form",
    [
        lambda grey: grey,
        as_bgr,
        lambda grey: grey.astype(np.uint16) * 257,
        lambda grey: as_bgr(grey).astype(np.uint16) * 257,
        lambda grey: np.asfortranarray(grey),
        lambda grey: np.repeat(grey, 2, axis=1)[:, ::2],
        lambda grey: as_bgr(np.ascontiguousarray(grey[::-1, ::-1]))[::-1, ::-1],
    ],
    ids=["grey", "bgr", "deep", "deep-bgr", "fortran", "strided", "backwards"],
)
def test_every_form_of_a_frame_is_painted_alike(
    form: Callable[[NDArray[np.uint8]], NDArray[np.uint8]],
) -> None:
    grey = tip()
    made = bgra_of(form(grey))

    assert made.dtype == np.uint8
    assert made.flags.c_contiguous
    for channel in range(3):
        np.testing.assert_array_equal(made[:, :, channel], grey)
    assert (made[:, :, 3] == 255).all()


# Sightings -----------------------------------------------------------------------------


def test_no_frame_from_before_the_request_enters_a_sighting(
    camera: CommandedCamera, ears: Ears, watching: Watching
) -> None:
    camera.give()
    ears.wait_until(lambda: ears.glances == 1)
    asked_s = camera.now_s()
    ask = begin(watching, ears)
    # One more is there before the time to settle is over: it must not count either.
    early = camera.give()
    camera.allow(SETTINGS.frames)
    ears.wait_until(lambda: bool(ears.ends))

    (end,) = ears.ends
    assert isinstance(end, BurstTaken)
    assert (end.ask, end.moved) == (ask, "")
    taken = [camera.made[picture.frame_id] for picture in end.burst.pictures]
    assert len(taken) == SETTINGS.frames
    assert early.arrived_at_s <= asked_s + SETTINGS.settle_s
    assert all(frame.arrived_at_s > asked_s + SETTINGS.settle_s for frame in taken)
    assert len({frame.frame_id for frame in taken}) == SETTINGS.frames


def test_a_sighting_tells_how_far_it_is_and_what_it_found(
    camera: CommandedCamera, ears: Ears, watching: Watching
) -> None:
    ask = begin(watching, ears)
    camera.allow(SETTINGS.frames)
    ears.wait_until(lambda: bool(ears.ends))

    assert [told.taken for told in ears.told] == list(range(SETTINGS.frames + 1))
    assert {(told.ask, told.wanted) for told in ears.told} == {(ask, SETTINGS.frames)}
    (end,) = ears.ends
    assert isinstance(end, BurstTaken)
    assert isinstance(end.burst.fit, BurstFit)
    assert np.hypot(*np.subtract(end.burst.fit.centre_px, CENTRE)) < 0.1
    assert end.burst.picture_size_px == SIZE
    kinds = [picture.kind for picture in end.burst.pictures]
    assert kinds.count(PictureKind.FULL) == 1
    # Live work stands still meanwhile.
    assert ears.glances == 0


def test_a_kept_crop_is_a_part_of_its_frame_and_does_not_hold_on_to_it(
    camera: CommandedCamera, ears: Ears, watching: Watching
) -> None:
    begin(watching, ears)
    camera.allow(SETTINGS.frames)
    ears.wait_until(lambda: bool(ears.ends))

    (end,) = ears.ends
    assert isinstance(end, BurstTaken)
    crops = [one for one in end.burst.pictures if one.kind is PictureKind.CROP]
    for crop in crops:
        left, top = crop.origin_px
        high, wide = crop.image.shape
        whole = camera.made[crop.frame_id].image
        np.testing.assert_array_equal(crop.image, whole[top : top + high, left : left + wide])
        assert not np.shares_memory(crop.image, whole)


def test_the_frames_begin_anew_when_the_camera_was_opened_anew(
    camera: CommandedCamera, ears: Ears, watching: Watching
) -> None:
    camera.generation_of = lambda number: 1 if number <= 4 else 2
    begin(watching, ears)
    camera.allow(4 + SETTINGS.frames)
    ears.wait_until(lambda: bool(ears.ends))

    (end,) = ears.ends
    assert isinstance(end, BurstTaken)
    assert end.burst.camera_generation == 2
    assert {camera.made[one.frame_id].camera_generation for one in end.burst.pictures} == {2}
    assert [told.taken for told in ears.told] == [0, 1, 2, 3, 4, 1, 2, 3, 4, 5, 6]


def test_a_camera_that_is_opened_anew_again_and_again_gives_no_sighting(
    camera: CommandedCamera, ears: Ears, watching: Watching
) -> None:
    camera.generation_of = lambda number: number // 2
    begin(watching, ears)
    camera.allow(100)
    ears.wait_until(lambda: bool(ears.ends))

    (end,) = ears.ends
    assert isinstance(end, BurstFailed)
    assert "plug and cable" in end.sentence


def test_a_sighting_is_stopped_in_its_midst_and_the_next_one_is_whole(
    camera: CommandedCamera, ears: Ears, watching: Watching
) -> None:
    first = begin(watching, ears)
    camera.allow(2)
    ears.wait_until(lambda: bool(ears.told) and ears.told[-1].taken == 2)
    watching.stop_sighting()
    ears.wait_until(lambda: len(ears.ends) == 1)
    assert isinstance(ears.ends[0], BurstFailed)
    assert ears.ends[0].ask == first
    assert "stopped" in ears.ends[0].sentence

    stopped_s = camera.now_s()
    second = begin(watching, ears)
    camera.allow(SETTINGS.frames)
    ears.wait_until(lambda: len(ears.ends) == 2)
    end = ears.ends[1]
    assert isinstance(end, BurstTaken)
    assert end.ask == second
    assert all(camera.made[p.frame_id].arrived_at_s > stopped_s for p in end.burst.pictures)


def test_after_a_stopped_sighting_live_work_goes_on(
    camera: CommandedCamera, ears: Ears, watching: Watching
) -> None:
    watching.sight()
    watching.stop_sighting()
    ears.wait_until(lambda: len(ears.ends) == 1)
    camera.give()
    ears.wait_until(lambda: ears.glances == 1)


def test_to_stop_without_a_sighting_spoils_no_later_one(
    camera: CommandedCamera, ears: Ears, watching: Watching
) -> None:
    watching.stop_sighting()
    begin(watching, ears)
    camera.allow(SETTINGS.frames)
    ears.wait_until(lambda: bool(ears.ends))
    assert isinstance(ears.ends[0], BurstTaken)


def test_a_newer_request_takes_the_place_of_an_older_one(
    camera: CommandedCamera, ears: Ears, watching: Watching
) -> None:
    first = begin(watching, ears)
    camera.allow(2)
    ears.wait_until(lambda: bool(ears.told) and ears.told[-1].taken == 2)
    second = begin(watching, ears)
    camera.allow(SETTINGS.frames)
    ears.wait_until(lambda: len(ears.ends) == 2)

    assert [end.ask for end in ears.ends] == [first, second]
    assert isinstance(ears.ends[0], BurstFailed)
    assert isinstance(ears.ends[1], BurstTaken)


def test_without_frames_a_sighting_ends_with_the_cameras_words_and_what_to_do(
    camera: CommandedCamera, ears: Ears
) -> None:
    camera.become(CameraState.STALLED, "The stream stands still; it is being opened again.")
    with closing(Watching(camera, ears, replace(SETTINGS, patience_s=0.1))) as watching:
        watching.sight()
        ears.wait_until(lambda: bool(ears.ends))

    (end,) = ears.ends
    assert isinstance(end, BurstFailed)
    assert "The stream stands still" in end.sentence
    assert "Check the camera's plug" in end.sentence


def test_a_source_that_has_ended_is_not_waited_for(camera: CommandedCamera, ears: Ears) -> None:
    camera.give()
    camera.become(CameraState.ENDED, "The video has come to its end.")
    with closing(Watching(camera, ears, SETTINGS)) as watching:
        watching.sight()
        ears.wait_until(lambda: bool(ears.ends))
    assert isinstance(ears.ends[0], BurstFailed)
    assert "come to its end" in ears.ends[0].sentence


def test_a_picture_without_a_bore_is_an_answer_with_no_pictures_to_keep(ears: Ears) -> None:
    camera = CommandedCamera(np.full((200, 240), 90, dtype=np.uint8))
    with closing(Watching(camera, ears, SETTINGS)) as watching:
        begin(watching, ears)
        camera.allow(SETTINGS.frames)
        ears.wait_until(lambda: bool(ears.ends))
    (end,) = ears.ends
    assert isinstance(end, BurstTaken)
    assert isinstance(end.burst.fit, BoreRefusal)
    assert (end.burst.pictures, end.moved) == ((), "")


def test_a_bore_that_still_moves_is_told(
    camera: CommandedCamera, ears: Ears, watching: Watching
) -> None:
    camera.image_of = lambda number: tip((CENTRE[0] + 0.8 * number, CENTRE[1]), seed=number)
    begin(watching, ears)
    camera.allow(SETTINGS.frames)
    ears.wait_until(lambda: bool(ears.ends))

    (end,) = ears.ends
    assert isinstance(end, BurstTaken)
    # Two halves of three frames, three steps of 0.8 px apart.
    assert "moved by 2.4 px" in end.moved


# Whether the bore stood still ----------------------------------------------------------


@cache
def found() -> BoreFit:
    fit = find_bore(tip())
    assert isinstance(fit, BoreFit)
    return fit


def burst_at(places: NDArray[np.float64]) -> BurstFit | BoreRefusal:
    claimed = CovPx2(0.02**2, 0.0, 0.02**2)
    return combine_burst(
        [
            replace(found(), centre_px=PointPx(float(u), float(v)), temporal_cov_px2=claimed)
            for u, v in places
        ]
    )


def standing(rng: np.random.Generator, sigma_px: float, frames: int = 12) -> NDArray[np.float64]:
    return np.array(CENTRE) + rng.normal(0.0, sigma_px, (frames, 2))


@pytest.mark.parametrize("sigma_px", [0.02, 0.1, 0.3, 1.0])
def test_a_standing_bore_is_seldom_called_moving_however_noisy(sigma_px: float) -> None:
    rng = np.random.default_rng(5)
    alarms = sum(bool(moved_between(burst_at(standing(rng, sigma_px)))) for _ in range(200))
    assert alarms <= 4


@pytest.mark.parametrize("frames", [4, 6, 12])
@pytest.mark.parametrize("per_frame_px", [0.4, 3.0])
def test_an_even_creep_is_told_however_many_frames(frames: int, per_frame_px: float) -> None:
    places = standing(np.random.default_rng(2), 0.02, frames)
    places[:, 1] += per_frame_px * np.arange(frames)
    assert "moved" in moved_between(burst_at(places))


def test_a_machine_that_comes_to_rest_within_the_burst_is_told() -> None:
    places = standing(np.random.default_rng(3), 0.02)
    places[:5, 0] -= 3.0 * np.arange(5, 0, -1)
    assert "moved" in moved_between(burst_at(places))


def test_a_jump_in_the_midst_is_told() -> None:
    places = standing(np.random.default_rng(4), 0.05)
    places[6:, 0] += 2.0
    assert "moved by 2.0 px" in moved_between(burst_at(places))


def test_one_wild_frame_is_no_motion() -> None:
    places = standing(np.random.default_rng(6), 0.05)
    places[2] += 40.0
    assert moved_between(burst_at(places)) == ""


def test_less_than_the_floor_is_no_motion() -> None:
    places = standing(np.random.default_rng(7), 0.01)
    places[6:, 0] += 0.4
    assert moved_between(burst_at(places)) == ""


# Health and faults ---------------------------------------------------------------------


def test_a_change_of_health_is_told_once(
    camera: CommandedCamera, ears: Ears, watching: Watching
) -> None:
    ears.wait_until(lambda: len(ears.healths) == 1)
    camera.become(CameraState.STALLED, "It is being opened again.")
    began_s = time.monotonic()
    ears.wait_until(lambda: len(ears.healths) == 2)
    assert time.monotonic() - began_s < 1.0
    camera.give()
    ears.wait_until(lambda: ears.glances == 1)
    assert [health.state for health in ears.healths] == [CameraState.LIVE, CameraState.STALLED]
    assert watching.health().sentence == "It is being opened again."


def test_a_source_that_answers_at_once_that_it_has_nothing_does_not_take_a_core(
    camera: CommandedCamera, ears: Ears
) -> None:
    camera.become(CameraState.ENDED, "The end.")
    began_s = time.monotonic()
    with closing(Watching(camera, ears, SETTINGS)):
        ears.wait_until(lambda: camera.asked >= 12)
    # Two threads, twenty times a second each.
    assert time.monotonic() - began_s > 0.2


def test_a_fault_is_logged_and_told_and_the_thread_goes_on(
    camera: CommandedCamera, ears: Ears, watching: Watching, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.ERROR):
        camera.fault = RuntimeError("the driver said nonsense")
        camera.give()
        ears.wait_until(lambda: len(ears.faults) == 1)
    assert "the driver said nonsense" in str(ears.faults[0])
    assert any(record.exc_info for record in caplog.records)
    camera.give()
    ears.wait_until(lambda: ears.pictures == 1 and ears.glances == 1)


def test_a_frame_that_cannot_be_read_is_told_once_and_left_behind(
    camera: CommandedCamera, ears: Ears, watching: Watching
) -> None:
    camera.image_of = lambda number: np.zeros((4, 4, 7), np.uint8) if number == 1 else tip()
    camera.give()
    # It can be neither painted nor measured.
    ears.wait_until(lambda: len(ears.faults) == 2)
    camera.give()
    ears.wait_until(lambda: ears.pictures == 1 and ears.glances == 1)
    assert len(ears.faults) == 2


def test_a_fault_within_a_sighting_ends_it_with_a_sentence(
    camera: CommandedCamera, ears: Ears, watching: Watching
) -> None:
    ears.deaf = RuntimeError("nobody listens")
    ask = watching.sight()
    ears.wait_until(lambda: bool(ears.ends) and bool(ears.faults))
    (end,) = ears.ends
    assert isinstance(end, BurstFailed)
    assert end.ask == ask
    assert "nobody listens" in end.sentence

    ears.deaf = None
    begin(watching, ears)
    camera.allow(SETTINGS.frames)
    ears.wait_until(lambda: len(ears.ends) == 2)
    assert isinstance(ears.ends[1], BurstTaken)


# The end -------------------------------------------------------------------------------


def test_to_close_in_the_midst_of_a_sighting_ends_it_and_both_threads(
    camera: CommandedCamera, ears: Ears
) -> None:
    watching = Watching(camera, ears, SETTINGS)
    ask = begin(watching, ears)
    camera.allow(2)
    ears.wait_until(lambda: bool(ears.told) and ears.told[-1].taken == 2)
    watching.close()
    watching.close()

    (end,) = ears.ends
    assert isinstance(end, BurstFailed)
    assert end.ask == ask
    assert camera.closed
    assert watch_threads() == []
    with pytest.raises(ValueError, match="closed"):
        watching.sight()


def test_a_request_that_nobody_has_begun_is_ended_too(camera: CommandedCamera, ears: Ears) -> None:
    watching = Watching(camera, ears, SETTINGS)
    asks = [watching.sight(), watching.sight(), watching.sight()]
    watching.close()
    assert [end.ask for end in ears.ends] == asks


def test_two_hundred_opens_and_closes_leave_no_thread() -> None:
    before = threading.active_count()
    image = tip()
    for _ in range(200):
        ears = Ears()
        camera = CommandedCamera(image)
        watching = Watching(camera, ears, SETTINGS)
        camera.give()
        watching.sight()
        watching.close()
        assert len(ears.ends) == 1
    assert watch_threads() == []
    assert threading.active_count() == before


# On the bench --------------------------------------------------------------------------


def test_the_bench_is_watched_and_sighted_like_any_camera(ears: Ears) -> None:
    world = make_world(bench_profile("plover"), seed=1, clock=RealClock(speed=4.0))
    bench = BenchCamera(world)
    with closing(world), closing(Watching(bench, ears, replace(SETTINGS, frames=4))) as watching:
        ears.wait_until(lambda: ears.pictures > 0 and ears.glances > 0)
        shown = watching.picture()
        assert shown is not None
        assert shown.bgra.shape == (480, 640, 4)
        asked_s = bench.now_s()
        watching.sight()
        ears.wait_until(lambda: bool(ears.ends))
    (end,) = ears.ends
    assert isinstance(end, BurstTaken)
    assert isinstance(end.burst.fit, BurstFit)
    truth = world.glimpse(asked_s).centre_px
    assert np.hypot(*np.subtract(end.burst.fit.centre_px, truth)) < 1.0
    first_s = bench.arrival_s(min(picture.frame_id for picture in end.burst.pictures))
    assert first_s > asked_s + SETTINGS.settle_s
    assert ears.faults == []
