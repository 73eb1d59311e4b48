"""A whole run with five tools by mouse and keys, to the text on the clipboard."""

from __future__ import annotations

import re
from contextlib import closing
from pathlib import Path

import pytest

from app.machines import open_line_link
from tests.e2e.program import served_bench
from tests.xcb.bench_run import SPEED, begin, inside, offsets_of, text_on_clipboard
from tests.xcb.hands import Hands
from tests.xcb.person import Person


@pytest.mark.slow
def test_five_tools_by_hand_to_the_clipboard(hands: Hands, data: Path, tmp_path: Path) -> None:
    words = ("--machine", "plover", "--seed", "2", *SPEED)
    with (
        served_bench(tmp_path, *words) as bench,
        closing(open_line_link(bench.link)) as machine,
    ):
        begin(hands, "Plover", bench.camera)
        person = Person(hands, machine)
        person.prepare()
        person.type_start()
        person.until_result()
        text = text_on_clipboard(hands)
    offsets = offsets_of(data)
    inside(offsets, machine="plover", seed=2)
    # What is on the clipboard is what was recorded, in the words of the firmware.
    for tool, offset in offsets.items():
        assert offset.new_stored is not None
        shown = f"{offset.new_stored.x:.3f}"
        assert re.search(rf"X\s*=?\s*{re.escape(shown)}", text), (tool, shown, text)
    assert "simulated" in text
