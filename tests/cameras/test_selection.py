from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from app.cameras import make_grabber, open_camera
from app.cameras.multipart import PartReader, StreamEndedError, boundary_of
from app.cameras.opencv import restore_qt_variables, set_video_environment
from app.errors import InputError


@pytest.mark.parametrize("source", ["", "webcam", "usb", "rtsp://host/x", "C:/frames", "http"])
def test_an_unknown_source_is_refused_with_the_forms(source: str) -> None:
    with pytest.raises(InputError, match=r"usb:N, http://.*file:PATH.*bench"):
        open_camera(source)


@pytest.mark.parametrize("source", ["usb:", "usb:x", "usb:-1", "usb:²"])
def test_a_usb_source_needs_a_number(source: str) -> None:
    with pytest.raises(InputError, match="usb:0"):
        open_camera(source)


@pytest.mark.parametrize("source", ["file:", "file:/no/such/file"])
def test_a_file_source_needs_a_file(source: str) -> None:
    with pytest.raises(InputError, match="does not exist"):
        open_camera(source)


def test_the_bench_is_opened_elsewhere() -> None:
    with pytest.raises(InputError, match="together with its machine"):
        make_grabber("bench")


def test_importing_the_room_leaves_qt_alone() -> None:
    code = (
        "import os, app.cameras;"
        "print([n for n in os.environ if n.startswith('QT_QPA_')],"
        "os.environ['OPENCV_VIDEOIO_V4L_SELECT_TIMEOUT'])"
    )
    root = Path(__file__).parents[2]
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=root, env={}, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[] 2"


def test_what_the_user_has_set_is_kept() -> None:
    environment = {"OPENCV_LOG_LEVEL": "DEBUG"}
    set_video_environment(environment)
    assert environment["OPENCV_LOG_LEVEL"] == "DEBUG"
    after = {"QT_QPA_FONTDIR": "/cv2/qt/fonts", "QT_QPA_PLATFORM_PLUGIN_PATH": "/cv2/qt"}
    restore_qt_variables(after, {"QT_QPA_FONTDIR": "/mine"}, Path("/cv2"))
    assert after == {"QT_QPA_FONTDIR": "/mine"}


class TestParts:
    @staticmethod
    def parts(stream: bytes, boundary: bytes | None = b"--b", chunk: int = 7) -> list[bytes]:
        chunks = iter([stream[i : i + chunk] for i in range(0, len(stream), chunk)])
        reader = PartReader(lambda: next(chunks, b""), boundary)
        found = []
        try:
            while True:
                found.append(reader.next_part())
        except StreamEndedError:
            return found

    @pytest.mark.parametrize("chunk", [1, 2, 3, 7, 1000])
    @pytest.mark.parametrize("boundary", [b"--b", b"--wrong", None])
    def test_come_out_whole_however_the_bytes_arrive(
        self, chunk: int, boundary: bytes | None
    ) -> None:
        stream = (
            b"--b\r\nContent-Length: 8\r\n\r\nab\r\n--cd\r\n"
            b"--b\r\nContent-Type: image/jpeg\r\n\r\nno length\r\n--b\r\n"
            b"CONTENT-LENGTH:3\r\n\r\nxyz\r\n"
        )
        assert self.parts(stream, boundary, chunk) == [b"ab\r\n--cd", b"no length", b"xyz"]

    def test_are_found_again_after_a_wrong_length(self) -> None:
        stream = b"--b\r\nContent-Length: 2\r\n\r\nabcdef\r\n--b\r\nContent-Length: 1\r\n\r\nx\r\n"
        assert self.parts(stream) == [b"ab", b"x"]

    @pytest.mark.parametrize(
        ("told", "mark"),
        [
            ("multipart/x-mixed-replace; boundary=b", b"--b"),
            ('multipart/x-mixed-replace;boundary="--b"', b"--b"),
            ("multipart/x-mixed-replace; charset=x; Boundary=--b", b"--b"),
            ("multipart/x-mixed-replace", None),
        ],
    )
    def test_have_the_mark_that_the_server_tells(self, told: str, mark: bytes | None) -> None:
        assert boundary_of(told) == mark
