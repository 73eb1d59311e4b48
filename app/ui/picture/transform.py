"""Where a pixel of the picture lies on the widget, and back: fit, zoom, pan.

Picture: pixel (0, 0) is the CENTRE of the top-left pixel, so that a picture of W columns
reaches from -0.5 to W - 0.5. Widget: Qt's logical pixels, (0, 0) the top-left CORNER of
the widget. Turning and mirroring exist only inside the pixel scale, never here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

from vision.geometry import PointPx

LARGEST_SCALE = 40.0
"""Widget pixels per picture pixel: beyond this there is nothing more to see."""

NEAREST_BEYOND = 4.0
"""Screen pixels per picture pixel from which single pixels are worth seeing as such."""


class PointWidget(NamedTuple):
    """A point on the widget, in logical pixels: x to the right, y down."""

    x: float
    y: float


class RectWidget(NamedTuple):
    """A rectangle on the widget, in logical pixels."""

    left: float
    top: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """Its right edge."""
        return self.left + self.width

    @property
    def bottom(self) -> float:
        """Its lower edge."""
        return self.top + self.height


@dataclass(frozen=True, slots=True, kw_only=True)
class ViewTransform:
    """How a picture lies on a widget.

    Attributes
    ----------
    picture_px
        Columns and rows of the picture.
    widget_px
        Width and height of the widget, in logical pixels.
    zoom
        How many times larger than where the whole picture fits; 1 and up.
    middle_px
        The picture's point at the middle of the widget.
    pixel_ratio
        Screen pixels per logical pixel.

    Examples
    --------
    >>> view = ViewTransform.fitted((640, 480), (320.0, 240.0))
    >>> view.to_widget(PointPx(-0.5, -0.5))
    PointWidget(x=0.0, y=0.0)
    >>> view.to_picture(PointWidget(160.0, 120.0))
    PointPx(u=319.5, v=239.5)
    """

    picture_px: tuple[int, int]
    widget_px: tuple[float, float]
    zoom: float
    middle_px: PointPx
    pixel_ratio: float = 1.0

    @classmethod
    def fitted(
        cls,
        picture_px: tuple[int, int],
        widget_px: tuple[float, float],
        *,
        pixel_ratio: float = 1.0,
    ) -> ViewTransform:
        """Return the view that shows the whole picture, as large as it fits.

        Raises
        ------
        ValueError
            When the picture or the widget has no area.
        """
        if min(picture_px) < 1:
            raise ValueError(f"picture_px must be at least 1x1, got {picture_px}")
        if min(widget_px) <= 0.0:
            raise ValueError(f"widget_px must be above zero, got {widget_px}")
        return cls(
            picture_px=picture_px,
            widget_px=widget_px,
            zoom=1.0,
            middle_px=PointPx((picture_px[0] - 1) / 2.0, (picture_px[1] - 1) / 2.0),
            pixel_ratio=pixel_ratio,
        )

    @property
    def fit_scale(self) -> float:
        """Widget pixels per picture pixel where the whole picture fits."""
        return min(self.widget_px[0] / self.picture_px[0], self.widget_px[1] / self.picture_px[1])

    @property
    def scale(self) -> float:
        """Widget pixels per picture pixel, the same along both axes."""
        return self.fit_scale * self.zoom

    @property
    def screen_scale(self) -> float:
        """Screen pixels per picture pixel."""
        return self.scale * self.pixel_ratio

    @property
    def is_whole(self) -> bool:
        """Whether the whole picture is shown."""
        return self.zoom == 1.0

    @property
    def shows_single_pixels(self) -> bool:
        """Whether pixels are drawn as squares rather than smoothed."""
        return self.screen_scale > NEAREST_BEYOND

    def to_widget(self, point: PointPx) -> PointWidget:
        """Return where a point of the picture lies on the widget."""
        return PointWidget(
            self.widget_px[0] / 2.0 + (point.u - self.middle_px.u) * self.scale,
            self.widget_px[1] / 2.0 + (point.v - self.middle_px.v) * self.scale,
        )

    def to_picture(self, at: PointWidget) -> PointPx:
        """Return which point of the picture lies at a point of the widget."""
        return PointPx(
            self.middle_px.u + (at.x - self.widget_px[0] / 2.0) / self.scale,
            self.middle_px.v + (at.y - self.widget_px[1] / 2.0) / self.scale,
        )

    def holds(self, point: PointPx) -> bool:
        """Return whether a point lies on the picture."""
        return (
            -0.5 <= point.u <= self.picture_px[0] - 0.5
            and -0.5 <= point.v <= self.picture_px[1] - 0.5
        )

    def frame(self) -> RectWidget:
        """Return where the whole picture lies on the widget, also beyond its edges."""
        corner = self.to_widget(PointPx(-0.5, -0.5))
        return RectWidget(
            corner.x, corner.y, self.picture_px[0] * self.scale, self.picture_px[1] * self.scale
        )

    def visible(self) -> RectWidget:
        """Return the part of the widget on which the picture is seen."""
        whole = self.frame()
        left, top = max(whole.left, 0.0), max(whole.top, 0.0)
        right = min(whole.right, self.widget_px[0])
        bottom = min(whole.bottom, self.widget_px[1])
        return RectWidget(left, top, right - left, bottom - top)

    def zoomed(self, factor: float, about: PointWidget) -> ViewTransform:
        """Return the view magnified about a point of the widget.

        When zooming in with `about` on the picture, the pixel there stays there; when
        zooming out it stays as far as the edges allow.
        """
        if factor <= 0.0:
            raise ValueError(f"factor must be above zero, got {factor}")
        largest = max(LARGEST_SCALE / self.fit_scale, 1.0)
        zoom = min(max(self.zoom * factor, 1.0), largest)
        kept, ratio = self.to_picture(about), self.zoom / zoom
        middle = PointPx(
            kept.u + (self.middle_px.u - kept.u) * ratio,
            kept.v + (self.middle_px.v - kept.v) * ratio,
        )
        return replace(self, zoom=zoom, middle_px=middle).clamped()

    def panned(self, dx: float, dy: float) -> ViewTransform:
        """Return the view with the picture drawn along by (dx, dy) widget pixels."""
        middle = PointPx(
            self.middle_px.u - dx / self.scale,
            self.middle_px.v - dy / self.scale,
        )
        return replace(self, middle_px=middle).clamped()

    def resized(self, widget_px: tuple[float, float], *, pixel_ratio: float) -> ViewTransform:
        """Return the view on a widget of another size.

        The whole picture stays whole; a magnified one keeps its magnification and what
        is at the middle.
        """
        whole = self.fitted(self.picture_px, widget_px, pixel_ratio=pixel_ratio)
        if self.is_whole:
            return whole
        zoom = max(self.scale / whole.fit_scale, 1.0)
        return replace(whole, zoom=zoom, middle_px=self.middle_px).clamped()

    def with_picture(self, picture_px: tuple[int, int]) -> ViewTransform:
        """Return the view for pictures of another size: whole again, unless nothing changed."""
        if picture_px == self.picture_px:
            return self
        return self.fitted(picture_px, self.widget_px, pixel_ratio=self.pixel_ratio)

    def whole(self) -> ViewTransform:
        """Return the view that shows the whole picture."""
        return self.fitted(self.picture_px, self.widget_px, pixel_ratio=self.pixel_ratio)

    def clamped(self) -> ViewTransform:
        """Return the view with its middle drawn back to where it may be.

        The dark surround at a side is never wider than where the whole picture fits.
        With the half picture H, and h of it the half of what is seen (h = h1 / zoom), the
        middle may lie H (1 - h / h1) = H (1 - 1 / zoom) off the picture's own: zooming in
        about a point of the picture never runs into this, since
        (1 - 1/f) H + H (1 - 1/z) / f = H (1 - 1/(f z)).
        """
        room = 1.0 - 1.0 / self.zoom
        return replace(
            self,
            middle_px=PointPx(
                _drawn_back(self.middle_px.u, self.picture_px[0], room),
                _drawn_back(self.middle_px.v, self.picture_px[1], room),
            ),
        )


def _drawn_back(middle: float, count: int, room: float) -> float:
    own, most = (count - 1) / 2.0, count / 2.0 * room
    return min(max(middle, own - most), own + most)
