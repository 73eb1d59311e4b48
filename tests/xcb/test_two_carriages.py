"""Independent carriages that home in between, and a mistyped value that has to be caught."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import pytest

from app.machines import open_line_link
from app.machines.line_link import LineLink
from tests.e2e.program import served_bench
from tests.xcb.bench_run import SPEED, begin, inside, offsets_of, text_on_clipboard
from tests.xcb.hands import Hands
from tests.xcb.person import Person


class Careless(Person):
    """Exchanges two digits of X once, and has to be told."""

    def __init__(self, hands: Hands, machine: LineLink) -> None:
        super().__init__(hands, machine)
        self.jogged = 0
        self.told = ""

    def sight(self) -> None:
        self.jogged += 1
        if self.jogged == 5:
            self._mistype()
        super().sight()

    def _mistype(self) -> None:
        self.see_it_agree()
        right = self.hands.field("x_field")
        wrong = f"{float(right) + 0.27:.2f}"
        self.hands.click("x_field")
        self.hands.press("ctrl+a")
        self.hands.type(wrong)
        self.hands.until(lambda: "picture" in self.hands.words("doubt"), "a doubt")
        self.told = self.hands.words("doubt")
        assert wrong in self.told
        assert right in self.told
        self.hands.press("p")
        self.hands.until(lambda: self.hands.field("x_field") == right, "the picture's value")


@pytest.mark.slow
def test_two_carriages_with_homing_and_one_mistyped_value(
    hands: Hands, data: Path, tmp_path: Path
) -> None:
    words = ("--machine", "heron", "--seed", "4", *SPEED)
    with (
        served_bench(tmp_path, *words) as bench,
        closing(open_line_link(bench.link)) as machine,
    ):
        begin(hands, "Heron", bench.camera)
        person = Careless(hands, machine)

        def home(tool: int) -> None:
            shown = machine.shown()
            assert shown.z is not None
            machine.move_to(x=None, y=None, z=shown.z + 30.0)
            machine.select_tool(tool)
            machine.home()
            person.tool = -1  # homed: whichever tool is active has to be brought anew
            hands.press("space")
            hands.until(lambda: "home the machine" not in hands.words(), "the next step")

        person.prepare()
        person.type_start()
        person.until_result(on_home=home)
        text_on_clipboard(hands)
    assert person.told
    inside(offsets_of(data), machine="heron", seed=4)
