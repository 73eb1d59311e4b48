"""A person at the printer: reads the window, moves the machine by its own panel, presses keys.

The machine is a served bench in another process, and its panel a link of its own: what
the person does there reaches the window through the camera alone.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from app.job.facts import Position
from app.machines.line_link import LineLink
from tests.xcb.hands import Hands

AXIS = re.compile(r"\b([XY]) ([+-]?\d+\.\d+)(?:, then ([+-]?\d+\.\d+))?")
TAKE = re.compile(r"(?:[Tt]ake|[Ss]ight) tool (\d+)")
LIFT_MM = 30.0
OVERSHOOT_MM = 0.3


class Person:
    """Does what the sentence says until the offsets can be taken."""

    def __init__(self, hands: Hands, machine: LineLink) -> None:
        self.hands = hands
        self.machine = machine
        self.tool = 0

    def prepare(self) -> None:
        """Tick all of the preparation."""
        self.hands.until(lambda: "Make ready" in self.hands.words(), "the preparation")
        for _ in range(12):
            if "Make ready" not in self.hands.words():
                return
            self.hands.press("space")
            self.hands.settle(150)
        raise AssertionError(f"the preparation never ends: {self.hands.words()}")

    def type_start(self) -> None:
        """Focus the first tip, come from below, and type what the display shows."""
        self.hands.until(lambda: "into view" in self.hands.words(), "the first place")
        here = self.machine.shown()
        self.arrive(here)
        self.focus()
        shown = self.machine.shown()
        self.hands.click("x_field")
        self.hands.type(f"{shown.x:.2f}".replace(".", ","))  # a comma serves as well
        self.hands.press("Tab")
        self.hands.type(f"{shown.y:.2f}")
        self.sight()

    def jog_as_told(self) -> None:
        """Make the jogs of the sentence, in their order, and sight."""
        told = AXIS.findall(self.hands.words())
        assert told, self.hands.words()
        for axis, first, then in told:
            for step in (first, then):
                if step:
                    self.jog(axis.lower(), float(step))
        self.sight()

    def jog(self, axis: str, step_mm: float) -> None:
        """Jog one axis by a step."""
        here = self.machine.shown()
        place = round(getattr(here, axis) + step_mm, 3)
        self.machine.move_to(**({"x": None, "y": None, "z": None} | {axis: place}))

    def take(self, tool: int, z_mm: float) -> None:
        """Lift, take a tool, go to the place in the fields, come down, focus, sight."""
        if tool != self.tool:
            shown = self.machine.shown()
            assert shown.z is not None
            self.machine.move_to(x=None, y=None, z=shown.z + LIFT_MM)
            self.machine.select_tool(tool)
            self.tool = tool
            self.arrive(self.place(z_mm))
            self.focus()
        else:
            self.arrive(self.place(z_mm))
        self.sight()

    def place(self, z_mm: float) -> Position:
        """Return the place that stands in the fields."""
        x, y = (float(self.hands.field(f"{axis}_field")) for axis in "xy")
        return Position(x, y, z_mm)

    def arrive(self, place: Position) -> None:
        """Go to a place so that X and Y end growing, X and Y before Z."""
        past = (round(place.x - OVERSHOOT_MM, 3), round(place.y - OVERSHOOT_MM, 3))
        self.machine.move_to(x=past[0], y=past[1], z=None)
        self.machine.move_to(x=place.x, y=place.y, z=None)
        self.machine.move_to(x=None, y=None, z=place.z)

    def focus(self) -> None:
        """Turn Z until the focus column stands highest, coarsely and then finely."""
        for reach, step in ((0.6, 0.2), (0.15, 0.05)):
            middle = self.machine.shown().z
            assert middle is not None
            count = round(reach / step)
            heights = [round(middle + i * step, 3) for i in range(-count, count + 1)]
            filled = [self._filled_at(height) for height in heights]
            best = heights[filled.index(max(filled))]
            self.machine.move_to(x=None, y=None, z=round(best - step, 3))
            self.machine.move_to(x=None, y=None, z=best)

    def sight(self) -> None:
        """Press Space once the button can be pressed, and wait until the sighting is kept."""
        before = self.hands.words()
        self.see_it_agree()
        self.hands.press("space")
        self.hands.until(
            lambda: self.hands.words() != before,
            "the next sentence",
        )

    def see_it_agree(self) -> None:
        """Wait until the picture has come to rest and agrees with what stands in the fields."""
        self.hands.settle(400)
        self.hands.until(
            lambda: self.hands.button_words().startswith("Sight") and not self.hands.words("doubt"),
            "that picture and fields agree",
        )

    def until_result(self, *, on_home: Callable[[int], None] | None = None) -> None:
        """Follow the sentences until the offsets can be taken."""
        z_mm = self.machine.shown().z
        assert z_mm is not None
        for _ in range(60):
            words = self.hands.words()
            if "offsets" in words and self.hands.button_words():
                return
            if "home the machine" in words:
                assert on_home is not None
                on_home(int(re.findall(r"tool (\d+)", words)[0]))
            elif words.startswith("Jog"):
                self.jog_as_told()
            elif (found := TAKE.search(words)) is not None:
                self.take(int(found[1]), z_mm)
            else:
                raise AssertionError(f"nobody knows what to do: {words}")
        raise AssertionError("the run never ends")

    def _filled_at(self, z_mm: float) -> float:
        from app.ui.picture.columns import LevelColumn

        self.machine.move_to(x=None, y=None, z=z_mm)
        self.hands.settle(450)
        return self.hands.find(LevelColumn, "focus_column").level.fraction
