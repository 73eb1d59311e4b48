"""Where marks, ticks and labels of a small plot come to stand."""

from __future__ import annotations

import doctest
import itertools

import pytest

from app.ui.cards import chart, figures, scale_page
from app.ui.cards.chart import (
    Box,
    Chart,
    Ink,
    Mark,
    Shape,
    axes_of,
    place_labels,
    round_down,
    round_ticks,
    round_up,
)

ROOM = Box(left=0.0, top=0.0, width=300.0, height=200.0)


def a_chart(*points: tuple[float, float], equal: bool = False, half: float = 0.0) -> Chart:
    marks = tuple(Mark(x=x, y=y, shape=Shape.DOT, ink=Ink.ACCENT, half=half) for x, y in points)
    return Chart(name="n", sentence="s", x_title="x", y_title="y", marks=marks, equal=equal)


@pytest.mark.parametrize("module", [chart, figures, scale_page])
def test_the_examples_in_the_words_are_true(module: object) -> None:
    result = doctest.testmod(module)  # type: ignore[arg-type]  # a module is an object
    assert result.attempted > 0
    assert result.failed == 0


def test_all_of_a_chart_lies_inside_its_rectangle() -> None:
    made = a_chart((-3.0, 2.0), (5.0, 40.0), half=7.0)
    axes = axes_of(made, 50.0, 20.0, 300.0, 150.0)
    for mark in made.marks:
        for end in (-1, 1):
            u, v = axes.at(mark.x, mark.y + end * mark.half)
            assert 50.0 < u < 350.0
            assert 20.0 < v < 170.0


def test_y_grows_upwards() -> None:
    axes = axes_of(a_chart((0.0, 0.0), (1.0, 1.0)), 0.0, 0.0, 100.0, 100.0)
    assert axes.at(0.0, 1.0)[1] < axes.at(0.0, 0.0)[1]


def test_a_unit_of_x_is_as_long_as_one_of_y_where_that_is_asked() -> None:
    axes = axes_of(a_chart((0.0, 0.0), (1.0, 3.0), equal=True), 0.0, 0.0, 400.0, 120.0)
    origin, right, up = axes.at(0, 0), axes.at(1, 0), axes.at(0, 1)
    assert right[0] - origin[0] == pytest.approx(origin[1] - up[1])


def test_a_single_point_has_a_range_about_it() -> None:
    axes = axes_of(a_chart((7.0, 7.0)), 0.0, 0.0, 100.0, 100.0)
    assert axes.at(7.0, 7.0) == pytest.approx((50.0, 50.0))


@pytest.mark.parametrize(
    ("low", "high"), [(-0.3, 1.1), (149.4, 150.8), (-4e-3, 7e-3), (-370.0, 410.0)]
)
@pytest.mark.parametrize("most", [2, 4, 7])
def test_ticks_are_few_round_and_inside(low: float, high: float, most: int) -> None:
    ticks = round_ticks(low, high, most)
    assert 1 <= len(ticks) <= most + 1
    assert all(low - 1e-9 <= tick.at <= high + 1e-9 for tick in ticks)
    assert len({tick.label for tick in ticks}) == len(ticks)
    assert all(float(tick.label) == pytest.approx(tick.at, abs=1e-9) for tick in ticks)


def test_zero_is_never_written_as_minus_zero() -> None:
    assert "-0" not in [tick.label for tick in round_ticks(-1.0, 1.0, 3)]


@pytest.mark.parametrize(
    ("value", "up", "down"), [(1.0, 1, 1), (3.4, 5, 2), (70, 100, 50), (0.02, 0.02, 0.02)]
)
def test_round_numbers_lie_about_a_value(value: float, up: float, down: float) -> None:
    assert round_up(value) == pytest.approx(up)
    assert round_down(value) == pytest.approx(down)


def test_labels_keep_off_each_other_and_off_the_marks() -> None:
    spots = [(100.0, 100.0), (106.0, 100.0), (100.0, 108.0), (290.0, 100.0)]
    taken = [Box(left=u - 5, top=v - 5, width=10, height=10) for u, v in spots]
    boxes = place_labels(spots, [(14.0, 14.0)] * 4, taken, ROOM)
    placed = [box for box in boxes if box is not None]
    assert len(placed) >= 3
    assert all(ROOM.holds(box) for box in placed)
    assert not any(a.meets(b) for a, b in itertools.combinations(placed, 2))
    assert not any(box.meets(mark) for box in placed for mark in taken)


def test_a_label_that_finds_no_place_is_left_out() -> None:
    narrow = Box(left=0.0, top=0.0, width=12.0, height=12.0)
    assert place_labels([(6.0, 6.0)], [(20.0, 14.0)], [], narrow) == (None,)
