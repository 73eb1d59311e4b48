from __future__ import annotations

import pytest

from app.ui.handset.words import (
    Readout,
    Turn,
    figure,
    first_step,
    next_step_of,
    state_words,
    steps_of,
    turned_on,
)


@pytest.mark.parametrize(
    ("display_mm", "steps"),
    [
        (0.1, (10.0, 1.0, 0.1)),
        (0.01, (10.0, 1.0, 0.1, 0.01)),
        (0.001, (10.0, 1.0, 0.1, 0.01, 0.001)),
        (0.05, (10.0, 1.0, 0.1, 0.05)),
    ],
)
def test_no_step_is_finer_than_the_display(display_mm: float, steps: tuple[float, ...]) -> None:
    assert steps_of(display_mm) == steps


def test_the_step_key_goes_round() -> None:
    steps = steps_of(0.01)
    seen = [first_step(steps)]
    for _ in steps:
        seen.append(next_step_of(steps, seen[-1]))
    assert seen == [0.1, 0.01, 10.0, 1.0, 0.1]


def turn(*detents: int, step_mm: float = 0.1, pause_s: float = 0.1) -> Turn:
    count: Turn | None = None
    for number, more in enumerate(detents):
        count = turned_on(count, axis="X", detents=more, step_mm=step_mm, now_s=number * pause_s)
    assert count is not None
    return count


def test_clicks_one_way_add_up_without_residue() -> None:
    count = turn(*[-1] * 9)
    assert (count.words(3), count.clicks) == ("X -0.900", "9 clicks")
    assert turn(1).clicks == "1 click"


def test_a_reversal_and_a_pause_begin_a_new_count() -> None:
    assert turn(-5, -4, 1, 2).words(1) == "X +0.3"
    assert turn(3, 2, pause_s=5.0).words(1) == "X +0.2"


def test_another_axis_begins_a_new_count_and_another_step_does_not() -> None:
    before = turn(1, step_mm=1.0)
    same = turned_on(before, axis="X", detents=3, step_mm=0.1, now_s=0.5)
    other = turned_on(before, axis="Y", detents=3, step_mm=0.1, now_s=0.5)
    assert (same.words(2), other.words(2)) == ("X +1.30", "Y +0.30")


def test_figures_have_the_decimals_of_the_display() -> None:
    readout = Readout(position_mm=(150.3, -0.0, 20.0), tool=3, homed=True)
    assert [figure(readout, axis, 0.01) for axis in range(3)] == ["150.30", "0.00", "20.00"]
    assert figure(Readout(), 0, 0.01) == "---"
    assert state_words(readout) == "T3   homed"
    assert state_words(Readout()) == "T0   not homed"
