"""A newcomer does the demonstration by hand: how many clicks, keys and seconds it takes.

Runs the real window on a screen (QT_QPA_PLATFORM=xcb, an X server in DISPLAY, xdotool)
with the bench and its own panel, by mouse and keys alone. The hands do what the
sentences say, as fast as the picture allows; a person has to read as well.

    QT_QPA_PLATFORM=xcb DISPLAY=:99 python -m tests.benchmarks.bench_newcomer --machine plover
"""

from __future__ import annotations

import argparse
import os
import re
import sys
import tempfile
import time
from pathlib import Path

from PySide6.QtCore import QPoint
from PySide6.QtWidgets import QApplication, QWidget

import app.cameras.opencv  # noqa: F401 - before anything else imports OpenCV
from app.bench import MACHINES
from app.records import Store
from app.ui.picture.columns import LevelColumn
from app.ui.program import bench_choice
from app.ui.window import Window
from tests.xcb.bench_run import inside, offsets_of
from tests.xcb.hands import Hands
from tests.xcb.person import AXIS, TAKE

STEPS_MM = (0.1, 0.01)


class Patience:
    """Waits as pytest-qt's bot does, without pytest."""

    def __init__(self, application: QApplication) -> None:
        self._application = application

    def wait(self, ms: int) -> None:
        """Let events come for so long."""
        end_s = time.monotonic() + ms / 1000.0
        while time.monotonic() < end_s:
            self._application.processEvents()
            time.sleep(0.004)

    def waitUntil(self, seen: object, timeout: int = 5000) -> None:
        """Wait until a function says True."""
        assert callable(seen)
        end_s = time.monotonic() + timeout / 1000.0
        while not seen():
            if time.monotonic() > end_s:
                raise TimeoutError
            self.wait(20)


class Newcomer:
    """Turns the panel's wheel, takes tools, presses Space: what the sentences say."""

    def __init__(self, hands: Hands, *, stays: bool) -> None:
        self.hands = hands
        self.stays = stays  # whether the head stays where it is when a tool is taken
        self.turns = 0
        self.step_mm = STEPS_MM[0]
        self.tool = 0

    def run(self) -> None:
        """Go from the preparation to the text on the clipboard."""
        hands = self.hands
        hands.until(lambda: "Make ready" in hands.words(), "the preparation")
        while "Make ready" in hands.words():
            hands.press("space")
            hands.settle(150)
        self.focus()
        hands.click("x_field")
        hands.type(self.shown("x").rstrip("0"))
        hands.press("Tab")
        hands.type(self.shown("y").rstrip("0"))
        self.sight()
        while "offsets" not in hands.words():
            self.follow(hands.words())
        hands.press("space")
        hands.until(lambda: "Enter the new" in hands.words(), "the taken offsets")
        hands.press("r")
        hands.press("ctrl+c")
        hands.until(lambda: bool(hands.clipboard()), "the clipboard")

    def follow(self, words: str) -> None:
        """Do one sentence."""
        if "home the machine" in words:
            self.home(int(re.findall(r"tool (\d+)", words)[0]))
        elif words.startswith("Jog"):
            for axis, first, then in AXIS.findall(words):
                for step in (first, then):
                    if step:
                        self.turn(axis.lower(), float(step))
            self.sight()
        elif (found := TAKE.search(words)) is not None:
            self.take(int(found[1]))
        else:
            raise AssertionError(words)

    def take(self, tool: int) -> None:
        """Take a tool where the head stands, or bring it to the place in the fields."""
        if tool != self.tool and self.stays:
            self.hands.click(f"handset_tool_{tool}")
            self.tool = tool
            self.hands.until(lambda: f"T{tool}" in self.hands.words("handset_state"), "the tool")
            self.rest()
            self.focus()
            self.hands.press("equal")
            self.sight()
            return
        if tool != self.tool:
            self.hands.click(f"handset_tool_{tool}")
            self.tool = tool
            self.hands.until(lambda: f"T{tool}" in self.hands.words("handset_state"), "the tool")
            self.rest()
        for axis in "xy":
            off = float(self.hands.field(f"{axis}_field")) - float(self.shown(axis))
            if off < 0.0:
                self.turn(axis, off - 0.3)
                self.turn(axis, 0.3)
            elif off > 0.0005:
                self.turn(axis, off)
        self.focus()
        self.sight()

    def home(self, tool: int) -> None:
        """Take the tool, home, go back, say so."""
        before = [self.shown(axis) for axis in "xyz"]
        self.hands.click(f"handset_tool_{tool}")
        self.tool = tool
        self.rest(800)
        self.hands.click("handset_home")
        self.hands.click("handset_home")
        self.hands.until(lambda: self.shown("z") != before[2], "the lift before homing")
        self.hands.click("handset_back")
        self.hands.until(
            lambda: [self.shown(axis) for axis in "xyz"] == before, "the old place", timeout_s=90
        )
        self.hands.press("space")
        self.hands.until(lambda: "home the machine" not in self.hands.words(), "the next step")

    def turn(self, axis: str, way_mm: float) -> None:
        """Turn the wheel by a way: tenths first, then hundredths."""
        left = round(way_mm * 100)
        for step_mm in STEPS_MM:
            unit = round(step_mm * 100)
            detents, left = int(left / unit), left - int(left / unit) * unit
            if detents:
                self.choose(step_mm)
                self.scroll(f"handset_axis_{axis}", detents)
        self.rest()

    def choose(self, step_mm: float) -> None:
        """Press the step key until it says this step."""
        while f"{step_mm:g} mm" not in self.hands.button_words("handset_step"):
            self.hands.click("handset_step")
            self.hands.settle()

    def scroll(self, name: str, detents: int) -> None:
        """Turn the mouse's wheel over a part."""
        part = self.hands.find(QWidget, name)
        at = part.mapToGlobal(QPoint(part.width() // 2, part.height() // 2))
        button = "4" if detents > 0 else "5"
        words = ["mousemove", str(at.x()), str(at.y())]
        words += ["click", "--repeat", str(abs(detents)), "--delay", "25", button]
        self.hands.xdotool(*words)
        self.turns += 1
        self.hands.settle(30 * abs(detents))

    def focus(self) -> None:
        """Turn Z until the focus column stands highest."""
        self.choose(STEPS_MM[0])
        best = self.filled()
        for way in (1, -1):
            fell = 0
            while fell < 2:
                self.scroll("handset_axis_z", way)
                self.hands.settle(350)
                now = self.filled()
                fell, best = (fell + 1, best) if now <= best else (0, now)
            self.scroll("handset_axis_z", -2 * way)
            self.hands.settle(400)

    def filled(self) -> float:
        """Return how high the focus column stands."""
        return self.hands.find(LevelColumn, "focus_column").level.fraction

    def shown(self, axis: str) -> str:
        """Return what the panel's display shows."""
        return self.hands.words(f"handset_{axis}")

    def rest(self, ms: int = 300) -> None:
        """Wait until the display stands still."""
        before = ""
        while (now := "".join(self.shown(axis) for axis in "xyz")) != before:
            before = now
            self.hands.settle(ms)

    def sight(self) -> None:
        """Press Space when picture and fields agree."""
        before = self.hands.words()
        self.hands.settle(300)
        self.hands.until(
            lambda: self.hands.button_words().startswith("Sight") and not self.hands.words("doubt"),
            "picture and fields agree",
        )
        self.hands.press("space")
        self.hands.until(lambda: self.hands.words() != before, "the next sentence")


def main() -> int:
    """Do the demonstration once and print what it took."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--machine", choices=MACHINES, default="plover")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--pictures", type=Path, help="where to leave pictures of the way")
    given = parser.parse_args()
    if os.environ.get("QT_QPA_PLATFORM") != "xcb":
        sys.exit("This needs a real screen: QT_QPA_PLATFORM=xcb and an X server in DISPLAY.")
    application = QApplication(["newcomer"])
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder)
        window = Window(application, data, open_store=lambda: Store(data))
        window.resize(1280, 800)
        window.move(0, 0)
        window.show_start()
        window.show()
        patience = Patience(application)
        patience.wait(500)
        hands = Hands(patience, window)  # type: ignore[arg-type]  # waits as the bot does
        hands.take_focus()
        began_s = time.monotonic()
        window.open(bench_choice(given.machine, given.seed))
        newcomer = Newcomer(hands, stays=given.machine == "plover")
        newcomer.run()
        took_s = time.monotonic() - began_s
        if given.pictures is not None:
            window.grab().save(str(given.pictures / "newcomer.png"))
        window.close()
        inside(offsets_of(data), machine=given.machine, seed=given.seed)
    print(
        f"{given.machine}, seed {given.seed}: {hands.clicks} clicks and {hands.keys} keys "
        f"({hands.clicks + hands.keys} together), {newcomer.turns} turns of the wheel, "
        f"{took_s:.0f} s; all offsets inside their U."
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
