from __future__ import annotations

import http.client
import time

import pytest

from app.cameras import CameraFeed, NoImage, open_camera
from app.cameras.http_stream import checked_address, shown_address
from app.cameras.network import NetworkGrabber
from app.errors import CameraError, InputError
from app.job.interfaces import CameraState
from tests.cameras.mjpeg_server import MjpegServer, Mood, noisy_jpeg
from tests.cameras.waiting import QUICK, frame_of, until, until_state


def test_a_stall_is_said_within_two_seconds_and_frames_come_back(server: MjpegServer) -> None:
    """The figure of the real program, with no times put in by the test."""
    with open_camera(server.url) as feed:
        server.mood = Mood.STALLED
        stalled_s = time.perf_counter()
        health = until_state(feed, CameraState.STALLED, limit_s=2.2)
        assert time.perf_counter() - stalled_s <= 2.05
        assert "no new picture" in health.sentence
        server.mood = Mood.WELL
        back = frame_of(feed, feed.now_s())
        assert back.camera_generation == 2
        until_state(feed, CameraState.LIVE)


def test_a_stream_that_is_closed_comes_back_by_itself(server: MjpegServer) -> None:
    with CameraFeed(NetworkGrabber(server.url), timing=QUICK).start() as feed:
        first = frame_of(feed)
        server.mood = Mood.HANG_UP
        assert "closed the stream" in until_state(feed, CameraState.STALLED).sentence
        server.mood = Mood.WELL
        assert frame_of(feed, feed.now_s()).camera_generation > first.camera_generation


def test_a_server_that_restarts_on_its_port_is_found_again() -> None:
    with MjpegServer() as server:
        feed = CameraFeed(NetworkGrabber(server.url), timing=QUICK).start()
        feed.wait_ready(5.0)
        port = server.port
    until_state(feed, CameraState.STALLED)
    with MjpegServer(port):
        assert frame_of(feed, feed.now_s()).camera_generation >= 2
        feed.close()


@pytest.mark.parametrize("mood", [Mood.CORRUPT, Mood.JUNK])
def test_broken_pictures_are_left_out_and_counted(server: MjpegServer, mood: Mood) -> None:
    with CameraFeed(NetworkGrabber(server.url)).start() as feed:
        frame_of(feed)
        server.mood = mood
        until(lambda: "broken pictures" in " ".join(feed.notes()), "broken pictures counted")
        server.mood = Mood.WELL
        good = frame_of(feed, feed.now_s())
        assert good.camera_generation == 1
        left, right = good.image[:, :60], good.image[:, 100:]
        assert int(left.max()) - int(left.min()) < 20
        assert int(right.max()) - int(right.min()) > 200


def test_a_stream_of_only_broken_pictures_is_stalled(server: MjpegServer) -> None:
    server.mood = Mood.JUNK
    feed = CameraFeed(NetworkGrabber(server.url), timing=QUICK).start()
    with feed, pytest.raises(CameraError, match="no new picture"):
        feed.wait_ready(5.0)


def test_a_stream_that_changes_its_size_is_not_scaled(server: MjpegServer) -> None:
    with CameraFeed(NetworkGrabber(server.url), timing=QUICK).start() as feed:
        first = frame_of(feed)
        server.size_px = (320, 240)
        until(lambda: frame_of(feed, feed.now_s()).image.shape == (240, 320), "the new size")
        assert frame_of(feed, feed.now_s()).camera_generation == first.camera_generation + 1


def test_a_slow_stream_is_live(server: MjpegServer) -> None:
    server.period_s = 0.5
    with open_camera(server.url) as feed:
        first = frame_of(feed)
        frame_of(feed, first.arrived_at_s)
        assert feed.health().state is CameraState.LIVE


def test_a_slow_reader_gets_the_newest_picture(server: MjpegServer) -> None:
    """What piled up in the sockets while the reader was busy is old and passed over."""
    server.size_px = (640, 480)
    grabber = NetworkGrabber(server.url)
    grabber.open()
    grabber.grab(time.perf_counter)
    sent = server.sent
    until(lambda: server.sent >= sent + 5, "five more pictures sent")
    shot = grabber.grab(time.perf_counter)
    grabber.close()
    assert not isinstance(shot, NoImage)
    assert shot.skipped >= 3


def test_parts_without_a_length_arrive_without_waiting_for_the_next(server: MjpegServer) -> None:
    server.with_length = False
    server.period_s = 0.4
    with open_camera(server.url) as feed:
        first = frame_of(feed)
        assert first.image.shape == (120, 160)
        # It is counted when it was sent whole, which may be after we have it.
        assert server.sent <= 1


def test_a_still_picture_is_shown_with_a_doubt(server: MjpegServer) -> None:
    server.still = noisy_jpeg(7)
    with CameraFeed(NetworkGrabber(server.url), timing=QUICK).start() as feed:
        until(lambda: "stands still" in feed.health().sentence, "a doubt")
        assert feed.health().state is CameraState.LIVE
        assert frame_of(feed, feed.now_s()).camera_generation == 1


def test_a_name_and_password_are_sent_but_never_shown(server: MjpegServer) -> None:
    url = server.url.replace("http://", "http://anna:s%40cret@")
    with open_camera(url) as feed:
        assert feed.name == server.url
    assert server.authorization == "Basic YW5uYTpzQGNyZXQ="  # anna:s@cret in base64


def test_a_redirect_is_followed(server: MjpegServer) -> None:
    server.redirect = "/elsewhere"
    with open_camera(server.url) as feed:
        frame_of(feed)


def test_redirects_without_end_are_refused(server: MjpegServer) -> None:
    server.redirect = "/stream"
    with pytest.raises(CameraError, match="without end"):
        open_camera(server.url)


@pytest.mark.parametrize(
    ("status", "words"),
    [
        (http.client.NOT_FOUND, "check the path"),
        (http.client.UNAUTHORIZED, "name and a password"),
        (http.client.SERVICE_UNAVAILABLE, "503 Service Unavailable"),
    ],
)
def test_a_refusal_says_what_to_do(server: MjpegServer, status: int, words: str) -> None:
    server.status = status
    with pytest.raises(CameraError, match=words):
        open_camera(server.url)


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("text/html; charset=utf-8", "gives text/html, not pictures"),
        ("image/jpeg", "single pictures"),
        ("video/x-unheard-of", "no video that can be decoded"),
    ],
)
def test_an_address_of_something_else_is_named(server: MjpegServer, kind: str, words: str) -> None:
    server.content_type = kind
    server.mood = Mood.HANG_UP
    with pytest.raises(CameraError, match=words):
        open_camera(server.url)


def test_nothing_at_the_address_is_one_sentence() -> None:
    with MjpegServer() as gone:
        url = gone.url
    with pytest.raises(CameraError, match="does not answer; check the address"):
        open_camera(url)


@pytest.mark.parametrize("url", ["http://", "ftp://host/", "http://host:99999/", "http://a b/"])
def test_what_is_no_address_is_refused(url: str) -> None:
    with pytest.raises(InputError, match="no address of a network camera"):
        checked_address(url)


def test_an_address_is_shown_without_its_password() -> None:
    assert shown_address("http://a:b@host:81/x?y=1") == "http://host:81/x?y=1"
