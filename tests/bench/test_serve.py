"""The served bench as strangers see it: a video reader, an HTTP client, a bare socket."""

from __future__ import annotations

import http.client
import io
import json
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import cv2
import numpy as np
import pytest

from app.bench import Served, World, bench_profile, make_world, serve
from app.bench.clock import RealClock
from app.errors import DeviceError


@pytest.fixture
def served(fast_world: World) -> Iterator[Served]:
    with serve(fast_world) as addresses:
        yield addresses


@contextmanager
def talking_to(served: Served) -> Iterator[io.BufferedRWPair]:
    address = ("127.0.0.1", served.machine_port)
    with socket.create_connection(address, timeout=10.0) as client, client.makefile("rwb") as file:
        yield file


def ask(file: io.BufferedRWPair, line: str) -> list[str]:
    """Send a line and return what comes up to the ok."""
    file.write(f"{line}\n".encode())
    file.flush()
    answer: list[str] = []
    while not (answer and answer[-1].startswith("ok")):
        answer.append(file.readline().decode().strip())
        assert answer[-1], f"the bench hung up after {answer}"
    return answer


def read_part(reply: http.client.HTTPResponse) -> tuple[dict[str, str], bytes]:
    """Return headers and body of the next part of a multipart stream."""
    line = reply.readline().strip()
    while not line:
        line = reply.readline().strip()
    assert line == b"--tipwright-bench-frame"
    headers = {}
    while line := reply.readline().strip():
        name, _, value = line.decode().partition(": ")
        headers[name] = value
    return headers, reply.read(int(headers["Content-Length"]))


@contextmanager
def getting(served: Served, path: str) -> Iterator[http.client.HTTPResponse]:
    connection = http.client.HTTPConnection("127.0.0.1", served.http_port, timeout=10.0)
    try:
        connection.request("GET", path)
        reply = connection.getresponse()
        yield reply
        reply.close()
    finally:
        connection.close()


def test_a_video_reader_reads_the_stream(served: Served) -> None:
    capture = cv2.VideoCapture(
        served.camera_url, cv2.CAP_FFMPEG, [cv2.CAP_PROP_READ_TIMEOUT_MSEC, 10_000]
    )
    try:
        pictures = [capture.read() for _ in range(3)]
    finally:
        capture.release()
    assert all(done for done, _ in pictures)
    assert pictures[0][1].shape == (480, 640, 3)
    assert pictures[0][1].std() > 5.0


def test_each_part_tells_its_length_and_its_world_time(served: Served) -> None:
    times = []
    with getting(served, "/") as reply:
        kind = reply.getheader("Content-Type")
        assert kind == "multipart/x-mixed-replace; boundary=tipwright-bench-frame"
        for _ in range(3):
            headers, body = read_part(reply)
            assert headers["Content-Type"] == "image/jpeg"
            assert body[:2] == b"\xff\xd8"
            assert body[-2:] == b"\xff\xd9"
            # ITU T.81, B.2.4.5: a comment segment right behind the start of the image.
            length = int.from_bytes(body[4:6], "big")
            assert body[2:4] == b"\xff\xfe"
            assert body[6 : 4 + length].decode() == f"world_time_s={headers['X-World-Time']}"
            times.append(float(headers["X-World-Time"]))
    assert times == sorted(set(times))


def test_all_who_look_see_the_same_frames(served: Served) -> None:
    """Frames are made once a tick: what two viewers see at one time is one picture."""
    seen: list[dict[str, bytes]] = [{}, {}]
    with getting(served, "/") as one, getting(served, "/") as two:
        for _ in range(12):
            for reply, parts in ((one, seen[0]), (two, seen[1])):
                headers, body = read_part(reply)
                parts[headers["X-World-Time"]] = body
    common = seen[0].keys() & seen[1].keys()
    assert common
    assert all(seen[0][time] == seen[1][time] for time in common)


def test_one_picture_can_be_had_alone(served: Served) -> None:
    with getting(served, "/frame.jpg") as reply:
        picture = cv2.imdecode(np.frombuffer(reply.read(), np.uint8), cv2.IMREAD_COLOR)
        assert reply.getheader("X-World-Time") is not None
    assert picture is not None
    assert picture.shape == (480, 640, 3)


def test_the_state_tells_what_the_display_shows_and_nothing_of_the_truth(
    served: Served, fast_world: World
) -> None:
    with getting(served, "/state.json") as reply:
        state = json.loads(reply.read())
    assert state.keys() == {
        "schema", "simulated", "machine", "tool", "shown_mm", "homed", "halted", "world_time_s",
    }  # fmt: skip
    assert state["machine"] == "Avocet"
    assert state["simulated"] is True
    assert state["shown_mm"]["x"] == pytest.approx(fast_world.truth.start_mm.x)


def test_an_unknown_page_is_not_found(served: Served) -> None:
    with getting(served, "/truth.json") as reply:
        assert reply.status == 404


def test_a_move_told_by_lines_is_seen_by_the_other_clients(served: Served) -> None:
    with talking_to(served) as one, talking_to(served) as two:
        ask(one, "G90")
        assert ask(one, "G0 X120.5 Y101 F6000")[-1] == "ok"
        assert ask(one, "M400")[-1] == "ok"
        assert ask(two, "M114")[-2].startswith("X:120.50 Y:101.00 ")
        ask(two, "G91")
        # Relative mode is each conversation's own.
        ask(one, "G0 X120")
        assert ask(two, "M114")[-2].startswith("X:120.00 Y:101.00 ")


def test_nonsense_is_answered_and_the_conversation_goes_on(served: Served) -> None:
    with talking_to(served) as file:
        assert "Unknown command" in ask(file, "\x00\xff M9 \t N*")[-2]
        assert ask(file, "A" * 5000)[-1] == "ok"
    with talking_to(served) as file:
        assert ask(file, "M114")[-1] == "ok"


def test_a_long_move_keeps_saying_that_it_is_busy() -> None:
    """Marlin's interval is 2 s of the computer's time; the move takes 2.4 s of it."""
    world = make_world(bench_profile("avocet"), seed=4, clock=RealClock(speed=50.0))
    with serve(world) as served, talking_to(served) as file:
        ask(file, f"G0 X{world.truth.start_mm.x - 80:.1f} F40")
        assert "echo:busy: processing" in ask(file, "M400")


def test_an_emergency_stop_is_heard_while_a_move_runs(served: Served, fast_world: World) -> None:
    with talking_to(served) as file:
        ask(file, "G0 X20 F6")
        file.write(b"M400\nM112\n")
        file.flush()
        said = [file.readline().decode().strip() for _ in range(2)]
    # The M400 before it is never answered.
    assert said == ["echo:M112 Shutdown", "Error:Printer halted. kill() called!"]
    assert fast_world.controller.is_halted
    assert not fast_world.controller.is_homed


def test_closing_while_clients_look_and_wait_leaves_nothing_behind() -> None:
    world = make_world(bench_profile("avocet"), seed=4, clock=RealClock())
    with serve(world) as served:
        file = stack_of_clients(served)
    for client in file:
        client.close()
    assert [thread.name for thread in threading.enumerate() if "bench" in thread.name] == []
    # The ports are free again, and the world can be served once more.
    with serve(world, http_port=served.http_port, machine_port=served.machine_port):
        pass


def stack_of_clients(served: Served) -> list[socket.socket]:
    """Return one who looks at the stream and one who waits for a move of minutes."""
    looking = socket.create_connection(("127.0.0.1", served.http_port), timeout=10.0)
    looking.sendall(b"GET / HTTP/1.0\r\n\r\n")
    assert looking.recv(10).startswith(b"HTTP/1.0")
    waiting = socket.create_connection(("127.0.0.1", served.machine_port), timeout=10.0)
    waiting.sendall(b"G0 X20 F6\nM400\n")
    answer = b""
    while b"ok\n" not in answer:
        answer += waiting.recv(100)
    return [looking, waiting]


def test_a_port_that_is_taken_is_named(served: Served, fast_world: World) -> None:
    taken = pytest.raises(DeviceError, match=f"Port {served.http_port} .* choose another")
    with taken, serve(fast_world, http_port=served.http_port):
        pass


def test_a_world_whose_time_jumps_is_not_served() -> None:
    with (
        pytest.raises(ValueError, match="RealClock"),
        serve(make_world(bench_profile("avocet"), seed=4)),
    ):
        pass
