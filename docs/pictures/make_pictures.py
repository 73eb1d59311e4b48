"""Makes the pictures of the pages in docs/ from the running program.

Opens the real window on the bench (Plover, five tools), does a whole run by the bench's
own panel and the window's own intentions, and saves what is on the screen on the way.
Everything random comes from the seed; what depends on the time of day (the age of a run)
is what differs between two goes.

    QT_QPA_PLATFORM=offscreen python docs/pictures/make_pictures.py
    QT_QPA_PLATFORM=xcb DISPLAY=:99 python docs/pictures/make_pictures.py --to /somewhere
"""

from __future__ import annotations

import argparse
import re
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import app.cameras.opencv  # noqa: F401 - has to come before anything else imports OpenCV
import numpy as np
from app.job.by_hand import Typed
from app.job.quality import Grade
from app.job.sheet import Done, EnterOffsets, Export, Prepare, SightScale, SightTool
from app.records import Store
from app.ui import intentions as want
from app.ui.desk import Desk
from app.ui.handset.wheel import Handwheel
from app.ui.program import bench_choice
from app.ui.state import DeskState
from app.ui.window import Window
from PIL import Image
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QAbstractButton, QApplication, QLabel
from vision.bore import BoreFit, BoreRefusal

HERE = Path(__file__).resolve().parent

PICTURES = (
    "start.png",
    "start-dark.png",
    "machine-form.png",
    "preparation.png",
    "first-place.png",
    "scale-half-done.png",
    "value-disagrees.png",
    "card-scale.png",
    "part-of-a-rim.png",
    "no-bore.png",
    "jog-large.png",
    "jog-large-dark.png",
    "jog-small.png",
    "out-of-focus.png",
    "card-tool-small-window.png",
    "result.png",
    "result-dark.png",
    "resume.png",
)
"""All that this script makes, in this order."""

MACHINE, SEED = "plover", 1
USUAL_PX, SMALL_PX = (1280, 800), (1024, 700)
COLOURS = 256
"""Of a picture's palette."""

STEP_WORDS = re.compile(r"Step ([0-9.]+) mm")
PATIENCE_S = 30.0


class Operator:
    """One person at the bench: reads the window, turns the panel's wheel, says what is wanted."""

    def __init__(self, application: QApplication, data: Path, folder: Path) -> None:
        self.application = application
        self.folder = folder
        self.made: list[str] = []
        self.window = Window(application, data, open_store=lambda: Store(data))
        self.window.resize(*USUAL_PX)
        self.window.show_start()
        self.window.show()
        self.window.change_looks()  # from the system's look to light
        self.spin(0.6)

    # -- time ---------------------------------------------------------------------------

    def spin(self, seconds: float) -> None:
        """Let the window live for so long."""
        end_s = time.monotonic() + seconds
        while time.monotonic() < end_s:
            self.application.processEvents()
            time.sleep(0.004)

    def until(self, seen: Callable[[], object], what: str) -> None:
        """Wait until something is true; complain about what never was."""
        end_s = time.monotonic() + PATIENCE_S
        while not seen():
            if time.monotonic() > end_s:
                state = self.desk.state()
                words = "nothing" if state is None else f"{state.sentence} {state.blocked}"
                raise TimeoutError(f"never seen: {what}; the window says: {words}")
            self.spin(0.02)

    # -- the window ---------------------------------------------------------------------

    @property
    def desk(self) -> Desk:
        """The desk of the run that is open."""
        desks = self.window.findChildren(Desk)
        return desks[-1]

    @property
    def state(self) -> DeskState:
        """What the window shows."""
        state = self.desk.state()
        assert state is not None
        return state

    def begin(self) -> None:
        """Open a run on the bench and wait for its first picture."""
        self.window.open(bench_choice(MACHINE, SEED))
        self.until(lambda: self.window.page is not None, "the page of the run")
        self.until(lambda: self.desk.state() is not None, "the first state")
        self.until(lambda: self.state.glance is not None, "the first picture")
        self.spin(1.0)

    def prepare(self) -> None:
        """Tick the whole preparation."""
        while isinstance(self.state.step, Prepare):
            self.want(want.Proceed())

    def want(self, intention: want.Intention) -> None:
        """Say what is wanted, and let the window answer."""
        self.desk.do(intention)
        self.spin(0.1)

    def press(self, name: str) -> None:
        """Press a button, and let the window answer."""
        self._button(name).click()
        self.spin(0.1)

    def new_answer(self) -> None:
        """Wait for two answers of the finder about what is in view now."""
        for _ in range(2):
            before = self.state.glance
            self.until(lambda was=before: self.state.glance is not was, "a new answer")

    def sight(self) -> None:
        """Type what the display shows, and sight once picture and fields agree."""
        self.type_shown()
        before = len(self.state.snapshot.run.sightings)
        self.until(self.may_sight, "picture and fields agree")
        self.desk.do(want.Proceed())
        self.until(lambda: len(self.state.snapshot.run.sightings) > before, "the sighting")
        self.spin(0.2)

    def may_sight(self) -> bool:
        """Say whether the button can be pressed without a doubt."""
        state = self.state
        return not state.blocked and state.entry is not None and state.entry.doubt is None

    def type_shown(self, dx_mm: float = 0.0) -> None:
        """Type what the panel's display shows, X by so much wrong."""
        x = f"{float(self.shown('x')) + dx_mm:.2f}"
        self.want(want.TypedPlace(Typed(x=x, y=self.shown("y"))))

    def save(self, name: str) -> None:
        """Save what is on the screen, with a small palette."""
        self.spin(0.3)
        if self.window.page is not None:
            self.new_answer()  # what is drawn over the picture pales as it gets old
        shot = self.window.grab().toImage().convertToFormat(QImage.Format.Format_RGB888)
        rows = np.frombuffer(shot.constBits(), np.uint8).reshape(shot.height(), -1)
        pixels = rows[:, : 3 * shot.width()].reshape(shot.height(), shot.width(), 3)
        # The octree keeps the few pixels of an accent, which the median cut gives away.
        few = Image.fromarray(pixels.copy()).quantize(
            COLOURS, method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE
        )
        few.save(self.folder / name, optimize=True)
        self.made.append(name)
        print(f"{name}: {(self.folder / name).stat().st_size / 1000:.0f} kB", flush=True)

    def save_dark(self, name: str) -> None:
        """Save the same with the dark look."""
        self.window.change_looks()
        self.save(name)
        self.window.change_looks()  # as the system has it
        self.window.change_looks()  # light

    # -- the bench's own panel ----------------------------------------------------------

    def shown(self, axis: str) -> str:
        """Return what the panel's display shows."""
        return self._label(f"handset_{axis}").text()

    def jog(self, axis: str, way_mm: float) -> None:
        """Turn the wheel by a way: tenths first, then hundredths."""
        left = round(way_mm * 100)
        for step_mm in (0.1, 0.01):
            unit = round(step_mm * 100)
            detents = int(left / unit)
            left -= detents * unit
            if detents:
                self._choose(step_mm)
                self._button(f"handset_axis_{axis.lower()}").click()
                wheels = self.window.findChildren(Handwheel)
                wheels[-1].turned.emit(detents)
        self._rest()

    def follow_plan(self, short_mm: float = 0.0) -> None:
        """Make the jogs that the window asks for, each by so much less than asked."""
        plan = self.state.plan
        assert plan is not None
        for jog in plan.jogs:
            self.jog(jog.axis, jog.step_mm - short_mm)

    def take(self, tool: int) -> None:
        """Take a tool."""
        self._button(f"handset_tool_{tool}").click()
        self.until(lambda: f"T{tool} " in self._label("handset_state").text(), "the tool")
        self._rest()

    def focus(self) -> None:
        """Turn Z until the focus column says sharp: coarsely, then finely."""
        for step_mm in (0.2, 0.1, 0.05):
            best = self._filled()
            if self.state.focus.grade is Grade.GOOD:
                break
            for way_mm in (step_mm, -step_mm):
                while (now := self._filled_after(way_mm)) > best:
                    best = now
                self.jog("z", -way_mm)

    def _filled_after(self, way_mm: float) -> float:
        self.jog("z", way_mm)
        return self._filled()

    def _filled(self) -> float:
        self.new_answer()
        return self.state.focus.fraction

    def _choose(self, step_mm: float) -> None:
        key = self._button("handset_step")
        while (found := STEP_WORDS.search(key.text())) and float(found[1]) != step_mm:
            key.click()

    def _rest(self) -> None:
        """Wait until nothing is under way and the display stands still."""
        still = 0
        before = ""
        while still < 2:
            self.spin(0.08)
            now = "".join(self.shown(axis) for axis in "xyz")
            doing = self._label("handset_message").text()
            still = still + 1 if now == before and not doing else 0
            before = now

    def _label(self, name: str) -> QLabel:
        return self.window.findChildren(QLabel, name)[-1]

    def _button(self, name: str) -> QAbstractButton:
        return self.window.findChildren(QAbstractButton, name)[-1]


def whole_run(person: Operator) -> None:
    """Do a run from the start page to the result, and save all pictures."""
    person.save("start.png")
    person.save_dark("start-dark.png")
    person.press("new_machine")
    person.save("machine-form.png")
    person.press("leave_form")
    person.begin()
    person.want(want.Proceed())
    person.want(want.Proceed())
    person.save("preparation.png")
    person.prepare()
    person.focus()
    person.type_shown()
    person.save("first-place.png")
    learn_the_scale(person)
    sight_the_reference(person)
    bring_tool_1(person)
    other_tools(person)
    the_result(person)
    an_offer_to_go_on(person)


def learn_the_scale(person: Operator) -> None:
    """Sight the start and the five jogs, one of them mistyped at first."""
    while isinstance(step := person.state.step, SightScale):
        if step.plan is not None:
            person.follow_plan()
        if step.number == 4:
            person.new_answer()
            person.save("scale-half-done.png")
        if step.number == 6:
            person.type_shown(dx_mm=0.27)
            person.until(lambda: _doubt(person.state), "a doubt")
            person.save("value-disagrees.png")
        person.sight()


def sight_the_reference(person: Operator) -> None:
    """Sight tool 0; before that, lose it from view, and bring it back."""
    assert isinstance(person.state.step, SightTool)
    person.want(want.OpenCard("scale"))
    person.save("card-scale.png")
    person.want(want.OpenCard(None))
    person.focus()
    person.sight()


def bring_tool_1(person: Operator) -> None:
    """Take tool 1: all that can be in the way of a sighting, then the jog, large and small."""
    person.take(1)
    person.until(lambda: person.state.fix is not None, "a part of its rim")
    person.focus()
    person.save("part-of-a-rim.png")
    person.jog("x", 3.5)
    person.new_answer()
    person.save("no-bore.png")
    person.jog("x", -3.8)
    person.jog("x", 0.3)
    while not isinstance(_fit(person.state), BoreFit):
        person.jog("y", 0.1)
        person.new_answer()
    person.focus()
    person.type_shown()
    person.new_answer()
    person.save("jog-large.png")
    person.save_dark("jog-large-dark.png")
    person.follow_plan(short_mm=0.03)
    person.focus()
    person.type_shown()
    person.new_answer()
    person.save("jog-small.png")
    person.jog("z", 2.0)
    person.until(lambda: isinstance(_fit(person.state), BoreRefusal), "a refusal")
    person.new_answer()
    person.save("out-of-focus.png")
    person.jog("z", -2.0)
    person.sight()


def other_tools(person: Operator) -> None:
    """Sight the others where the head stands, and the reference once more."""
    while isinstance(step := person.state.step, SightTool):
        person.take(step.tool)
        person.focus()
        person.sight()
        if step.tool == 2:
            person.window.resize(*SMALL_PX)
            person.want(want.OpenCard("2"))
            person.save("card-tool-small-window.png")
            person.want(want.OpenCard(None))
            person.window.resize(*USUAL_PX)


def the_result(person: Operator) -> None:
    """Take the offsets."""
    assert isinstance(person.state.step, Export)
    person.want(want.Proceed())
    person.until(lambda: isinstance(person.state.step, EnterOffsets | Done), "the result")
    person.want(want.Acknowledge())
    person.save("result.png")
    person.save_dark("result-dark.png")


def an_offer_to_go_on(person: Operator) -> None:
    """Begin another run and leave it: the start page offers it."""
    person.want(want.ToStart())
    person.spin(0.5)
    person.begin()
    person.prepare()
    person.want(want.ToStart())
    person.spin(0.8)
    person.save("resume.png")


def _fit(state: DeskState) -> BoreFit | BoreRefusal | None:
    return None if state.glance is None else state.glance.seen.fit


def _doubt(state: DeskState) -> bool:
    return state.entry is not None and state.entry.doubt is not None


def main() -> int:
    """Make all pictures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--to", type=Path, default=HERE, help="folder for the pictures")
    folder = parser.parse_args().to
    folder.mkdir(parents=True, exist_ok=True)
    application = QApplication(["pictures"])
    began_s = time.monotonic()
    with tempfile.TemporaryDirectory() as data:
        person = Operator(application, Path(data), folder)
        try:
            whole_run(person)
        finally:
            person.window.close()
    if tuple(person.made) != PICTURES:
        print(f"made {person.made}, meant to make {PICTURES}", file=sys.stderr)
        return 1
    print(f"{len(person.made)} pictures in {time.monotonic() - began_s:.0f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
