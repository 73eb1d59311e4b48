"""The line link against a scripted port: what is sent, what is answered, what is made of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import pytest
import serial
from hypothesis import given
from hypothesis import strategies as st

from app.errors import MachineError
from app.machines import LineLink, open_line_link
from app.machines.replies import bare, is_busy, make_reply, read_position, says_gone

HERE = "X:150.00 Y:100.00 Z:5.00 E:0.00 Count X:12000 Y:8000 Z:2000"


class ScriptedPort:
    """Expects lines in order and answers each as written down; nothing may be left over."""

    def __init__(self, script: Sequence[tuple[str, str]]) -> None:
        self.timeout: float | None = 0.0
        self._script = list(script)
        self._incoming = b""
        self.closed = False

    @property
    def in_waiting(self) -> int:
        return len(self._incoming)

    def say(self, text: str) -> None:
        self._incoming += text.encode()

    def read(self, size: int = 1) -> bytes:
        got, self._incoming = self._incoming[:size], self._incoming[size:]
        return got

    def write(self, data: bytes) -> int:
        expected, answer = self._script.pop(0)
        assert data == f"{expected}\n".encode()
        self.say(answer)
        return len(data)

    def close(self) -> None:
        self.closed = True

    @property
    def is_done(self) -> bool:
        return not self._script


def ticking() -> Iterator[float]:
    now_s = 0.0
    while True:
        now_s += 0.1
        yield now_s


def link_to(port: ScriptedPort) -> LineLink:
    return LineLink(port, name="Test", clock=ticking().__next__, answer_s=2.0, motion_s=4.0)


def test_a_move_is_awaited_and_checked() -> None:
    port = ScriptedPort(
        [
            ("G0 X150.000 Y100.000 F3000", "ok\n"),
            ("M400", "echo:busy: processing\nok\n"),
            ("M114", f"{HERE}\nok\n"),
        ]
    )
    link_to(port).move_to(x=150.0, y=100.0, z=None)
    assert port.is_done


def test_the_number_that_was_asked_for_is_shown_where_the_machine_agrees() -> None:
    port = ScriptedPort(
        [
            ("G0 X150.003 F3000", "ok\n"),
            ("M400", "ok\n"),
            ("M114", f"{HERE}\nok\n"),
            ("M114", f"{HERE}\nok\n"),
            ("M114", f"{HERE.replace('X:150.00', 'X:151.00')}\nok\n"),
        ]
    )
    link = link_to(port)
    link.move_to(x=150.003, y=None, z=None)
    assert link.shown() == (150.003, 100.0, 5.0)
    # Somebody turned the knob.
    assert link.shown() == (151.0, 100.0, 5.0)


def test_a_move_that_ended_elsewhere_is_named() -> None:
    port = ScriptedPort(
        [
            ("G0 Z999.000 F600", "ok\n"),
            ("M400", "ok\n"),
            ("M114", f"{HERE}\nok\n"),
        ]
    )
    with pytest.raises(MachineError, match=r"Z was sent to 999\.000 and stands at 5\.000"):
        link_to(port).move_to(x=None, y=None, z=999.0)


@pytest.mark.parametrize(
    "answer",
    [
        "echo:Home XY First\nok\n",
        "Error: G0: insufficient axes homed\nok\n",
        "!! Must home axis first: 10.000 0.000 0.000 [0.000]\nok\n",
        "!! Move out of range: 999.000\nok\n",
        'echo:Unknown command: "G0"\nok\n',
        '// Unknown command:"G0"\nok\n',
        "Error:checksum mismatch, Last Line: 2\nResend: 3\nok\n",
        "Resend:3\nok\n",
    ],
)
def test_a_refusal_is_an_error_though_an_ok_follows(answer: str) -> None:
    with pytest.raises(MachineError, match='refused "G0 X1'):
        link_to(ScriptedPort([("G0 X1.000 F3000", answer)])).move_to(x=1.0, y=None, z=None)


def test_an_invalid_tool_is_an_error() -> None:
    with pytest.raises(MachineError, match="T5 Invalid extruder"):
        link_to(ScriptedPort([("T5", "echo:T5 Invalid extruder\nok\n")])).select_tool(5)


def test_silence_ends_the_link() -> None:
    link = link_to(ScriptedPort([("M114", "X:1")]))
    with pytest.raises(MachineError, match='did not answer "M114" within 2 s'):
        link.shown()
    with pytest.raises(MachineError, match="connect again"):
        link.shown()


def test_busy_lines_put_the_deadline_off() -> None:
    class Slow(ScriptedPort):
        """Says that it is busy some thirty times, then ok."""

        left = 30

        def read(self, size: int = 1) -> bytes:
            if not self._incoming and self.left:
                self.left -= 1
                self.say("echo:busy: processing\n" if self.left else "ok\n")
            return super().read(size)

    port = Slow([("G28", ""), ("M400", "ok\n")])
    link = LineLink(port, name="Test", clock=ticking().__next__, answer_s=0.5, motion_s=1.0)
    link.home()
    assert port.is_done


@pytest.mark.parametrize(
    "said", ["start", "Error:Printer halted. kill() called!", "// Klipper state: Shutdown"]
)
def test_a_reset_or_a_shutdown_means_that_the_place_is_gone(said: str) -> None:
    link = link_to(ScriptedPort([("M114", f"{said}\nok\n")]))
    with pytest.raises(MachineError, match="no longer knows where it is"):
        link.shown()
    with pytest.raises(MachineError, match="no longer knows where it is"):
        link.home()


def test_an_answer_without_a_position_is_named() -> None:
    with pytest.raises(MachineError, match=r'answered "T:25\.00"'):
        link_to(ScriptedPort([("M114", "ok T:25.00\n")])).shown()


def test_a_pulled_cable_is_told_with_what_to_do() -> None:
    class Pulled(ScriptedPort):
        def read(self, size: int = 1) -> bytes:
            raise serial.SerialException("device reports readiness to read but returned no data")

    with pytest.raises(MachineError, match="connection to the machine is lost") as caught:
        link_to(Pulled([("M114", "")])).shown()
    assert caught.value.code == "connection-lost"


def test_what_a_board_says_on_being_opened_is_let_pass() -> None:
    port = ScriptedPort([("M115", "FIRMWARE_NAME:Smoothieware\nok\n"), ("G90", "ok\n")])
    port.say("start\necho:Marlin\nSmoothie\nok\n")
    link_to(port).greet()
    assert port.is_done


def test_lines_come_in_any_pieces() -> None:
    class Bytewise(ScriptedPort):
        @property
        def in_waiting(self) -> int:
            return 0

    port = Bytewise([("M114", f"{HERE}\r\nok\r\n")])
    assert LineLink(port, name="Test", clock=lambda: 0.0).shown() == (150.0, 100.0, 5.0)


def test_a_board_that_starts_anew_when_it_is_opened_is_asked_again() -> None:
    port = ScriptedPort(
        [
            ("M115", ""),
            ("M115", "start\nMarlin 2.1\n"),
            ("M115", "FIRMWARE_NAME:Marlin\nok\n"),
            ("G90", "ok\n"),
        ]
    )
    link_to(port).greet()
    assert port.is_done


def test_a_port_that_is_not_there_is_named() -> None:
    with pytest.raises(MachineError, match="no-such-port cannot be opened"):
        open_line_link("/dev/no-such-port")


def test_closing_twice_closes_once() -> None:
    port = ScriptedPort([])
    link = link_to(port)
    link.close()
    link.close()
    assert port.closed


@pytest.mark.parametrize(
    ("line", "place"),
    [
        (HERE, (150.0, 100.0, 5.0)),
        ("X:150.000 Y:100.000 Z:0.000 E:0.000", (150.0, 100.0, 0.0)),
        ("X:-1.5 Y:2 Z:3 E:0 Count X: 10 Y: 20 Z: 30", (-1.5, 2.0, 3.0)),
        ("X:1.000 Y:2.000 Z:3.000 U:9.000 E:0.000 Machine 4.0 5.0 6.0", (1.0, 2.0, 3.0)),
    ],
)
def test_positions_are_read_in_every_firmwares_form(
    line: str, place: tuple[float, float, float]
) -> None:
    assert read_position(make_reply([line, "ok"])) == place
    assert read_position(make_reply([f"ok C: {line}"])) == place


@given(text=st.text())
def test_no_line_breaks_the_reader(text: str) -> None:
    assert is_busy(text) in (True, False)
    assert says_gone(text) in (True, False)
    assert not bare(text).startswith("echo:")
    reply = make_reply([text, f"ok {text}"])
    read_position(reply)
