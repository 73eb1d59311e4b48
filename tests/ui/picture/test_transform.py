"""Picture and widget are mapped onto each other, however the picture is looked at."""

from __future__ import annotations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from app.ui.picture.transform import LARGEST_SCALE, PointWidget, ViewTransform
from vision.geometry import PointPx

sizes = st.tuples(st.integers(1, 4000), st.integers(1, 4000))
widgets = st.tuples(st.floats(20.0, 4000.0), st.floats(20.0, 4000.0))
parts = st.floats(0.0, 1.0)


@st.composite
def views(draw: st.DrawFn) -> ViewTransform:
    ratio = draw(st.sampled_from([1.0, 1.5, 2.0]))
    view = ViewTransform.fitted(draw(sizes), draw(widgets), pixel_ratio=ratio)
    for _ in range(draw(st.integers(0, 3))):
        at = PointWidget(view.widget_px[0] * draw(parts), view.widget_px[1] * draw(parts))
        view = view.zoomed(draw(st.floats(0.3, 8.0)), at)
        view = view.panned(draw(st.floats(-500.0, 500.0)), draw(st.floats(-500.0, 500.0)))
    return view


@given(view=views(), across=parts, down=parts)
def test_there_and_back_is_the_same_pixel(view: ViewTransform, across: float, down: float) -> None:
    point = PointPx(across * view.picture_px[0] - 0.5, down * view.picture_px[1] - 0.5)
    assert view.to_picture(view.to_widget(point)) == pytest.approx(point, abs=1e-6)


@given(view=views(), factor=st.floats(1.0, 8.0), across=parts, down=parts)
def test_zooming_in_keeps_the_pixel_under_the_pointer(
    view: ViewTransform, factor: float, across: float, down: float
) -> None:
    seen = view.visible()
    assume(view.scale < LARGEST_SCALE)
    at = PointWidget(seen.left + across * seen.width, seen.top + down * seen.height)
    closer = view.zoomed(factor, at)
    assert closer.to_widget(view.to_picture(at)) == pytest.approx(at, abs=1e-5)


@given(view=views(), dx=st.floats(-9000.0, 9000.0), dy=st.floats(-9000.0, 9000.0))
def test_no_pan_leaves_more_surround_than_the_whole_picture_has(
    view: ViewTransform, dx: float, dy: float
) -> None:
    most, now = view.whole().frame(), view.panned(dx, dy).frame()
    assert now.left <= most.left + 1e-6
    assert now.top <= most.top + 1e-6
    assert now.right >= most.right - 1e-6
    assert now.bottom >= most.bottom - 1e-6


@given(view=views())
def test_zooming_out_far_enough_shows_the_whole_picture(view: ViewTransform) -> None:
    assert view.zoomed(1e-6, PointWidget(3.0, 4.0)) == view.whole()


def test_the_first_pixels_centre_lies_half_a_pixel_inside_the_frame() -> None:
    view = ViewTransform.fitted((640, 480), (1280.0, 960.0))
    assert view.to_widget(PointPx(0.0, 0.0)) == PointWidget(1.0, 1.0)


def test_a_picture_of_another_shape_is_shown_whole_in_the_middle() -> None:
    frame = ViewTransform.fitted((640, 480), (1000.0, 480.0)).frame()
    assert (frame.left, frame.top, frame.width, frame.height) == (180.0, 0.0, 640.0, 480.0)


def test_a_whole_picture_stays_whole_on_another_size() -> None:
    view = ViewTransform.fitted((640, 480), (640.0, 480.0)).resized((320.0, 480.0), pixel_ratio=2.0)
    assert view.is_whole
    assert view.scale == 0.5
    assert view.screen_scale == 1.0


def test_a_magnified_picture_keeps_its_magnification_and_its_middle_on_another_size() -> None:
    view = ViewTransform.fitted((640, 480), (640.0, 480.0))
    view = view.zoomed(4.0, PointWidget(320.0, 240.0)).panned(100.0, -60.0)
    other = view.resized((800.0, 500.0), pixel_ratio=1.0)
    assert other.scale == pytest.approx(view.scale)
    assert other.middle_px == pytest.approx(view.middle_px)


@pytest.mark.parametrize(("ratio", "zoom", "single"), [(1.0, 3.9, False), (2.0, 2.1, True)])
def test_single_pixels_are_shown_beyond_four_screen_pixels_each(
    ratio: float, zoom: float, single: bool
) -> None:
    view = ViewTransform.fitted((640, 480), (640.0, 480.0), pixel_ratio=ratio)
    assert view.zoomed(zoom, PointWidget(320.0, 240.0)).shows_single_pixels is single


def test_pictures_of_another_size_are_shown_whole() -> None:
    view = ViewTransform.fitted((640, 480), (640.0, 480.0)).zoomed(3.0, PointWidget(0.0, 0.0))
    assert view.with_picture((640, 480)) is view
    assert view.with_picture((1280, 960)).is_whole


def test_nothing_without_an_area_is_taken() -> None:
    with pytest.raises(ValueError, match="picture_px"):
        ViewTransform.fitted((0, 480), (640.0, 480.0))
    with pytest.raises(ValueError, match="widget_px"):
        ViewTransform.fitted((640, 480), (0.0, 480.0))
    with pytest.raises(ValueError, match="factor"):
        ViewTransform.fitted((640, 480), (64.0, 48.0)).zoomed(0.0, PointWidget(0.0, 0.0))
