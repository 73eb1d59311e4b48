"""Plots and pictures side by side, drawn with OpenCV alone: the same input, the same pixels."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
Colour = tuple[int, int, int]

INK, FAINT, PAPER = (40, 40, 40), (190, 190, 190), (255, 255, 255)
BLUE, ORANGE = (230, 150, 30), (0, 130, 240)
"""In OpenCV's order: blue, green, red. Told apart by people who do not see all colours; what
they mean is also told by shape."""
GREYS = 48
"""Grey levels of a backdrop: noise in all 256 would make up most of a file."""
FINE = 4
"""Bits of a pixel's fraction in what OpenCV draws."""


class Chart:
    """A plot: a frame with ranges, in which things are drawn at their values."""

    LEFT, RIGHT, TOP, BOTTOM = 46, 14, 24, 34

    def __init__(
        self,
        size: tuple[int, int],
        across: tuple[float, float],
        up: tuple[float, float],
        words: tuple[str, str, str],
    ) -> None:
        self.size, self.across, self.up = size, across, up
        wide = size[0] + self.LEFT + self.RIGHT
        self.image: Image = np.full((size[1] + self.TOP + self.BOTTOM, wide, 3), 255, np.uint8)
        title, below, beside = words
        write(self.image, title, (self.LEFT, 15), INK, 0.45)
        write(self.image, below, (self.LEFT + 30, self.image.shape[0] - 5), INK, 0.38)
        write(self.image, beside, (wide - self.RIGHT - width_of(beside), 15), INK, 0.38)

    def backdrop(self, values: NDArray[np.floating[Any]]) -> None:
        """Fill the frame with values of shape (rays, steps), the last step on top."""
        grey = cv2.resize(levels(values).T[::-1], self.size, interpolation=cv2.INTER_NEAREST)
        self._inner()[:] = grey[:, :, None]

    def marks(
        self,
        x: NDArray[np.floating[Any]],
        y: NDArray[np.floating[Any]],
        colour: Colour,
        *,
        cross: bool = False,
    ) -> None:
        """Draw a dot or a cross at each place."""
        for u, v in self._at(x, y):
            if cross:
                for way in (1, -1):
                    ends = ((u - 48, v - 48 * way), (u + 48, v + 48 * way))
                    cv2.line(self.image, *ends, colour, 1, cv2.LINE_AA, FINE)
            else:
                if colour == PAPER:
                    cv2.circle(self.image, (u, v), 56, INK, -1, cv2.LINE_AA, FINE)
                cv2.circle(self.image, (u, v), 40, colour, -1, cv2.LINE_AA, FINE)

    def line(
        self,
        x: NDArray[np.floating[Any]],
        y: NDArray[np.floating[Any]],
        colour: Colour,
        *,
        dashed: bool = False,
    ) -> None:
        """Draw a line through these places."""
        at = np.array(self._at(x, y), np.int32)
        if not dashed:
            cv2.polylines(self.image, [at], False, colour, 2, cv2.LINE_AA, FINE)
            return
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(at, axis=0).T))])
        for start in np.arange(0.0, along[-1], 11 * 2**FINE):
            ends = np.linspace(start, min(start + 6 * 2**FINE, along[-1]), 4)
            dash = np.stack([np.interp(ends, along, at[:, k]) for k in (0, 1)], axis=1)
            cv2.polylines(self.image, [dash.astype(np.int32)], False, colour, 2, cv2.LINE_AA, FINE)

    def bar(self, x: float, half: float, y: float, colour: Colour) -> None:
        """Draw a bar from zero."""
        (left, top), (right, bottom) = self._at(np.array([x - half, x + half]), np.array([y, 0.0]))
        cv2.rectangle(self.image, (left, top), (right, bottom), colour, -1, cv2.LINE_AA, FINE)

    def done(self, across: Sequence[float], up: Sequence[float]) -> Image:
        """Return the plot, its figures beside it."""
        for x in (x for x in across if self.across[0] <= x <= self.across[1]):
            u = self._at(np.array([x]), np.array([self.up[0]]))[0][0] >> FINE
            bottom = self.TOP + self.size[1]
            cv2.line(self.image, (u, bottom), (u, bottom + 4), INK)
            write(self.image, f"{x:g}", (u - width_of(f"{x:g}") // 2, bottom + 17), INK, 0.38)
        for y in up:
            v = self._at(np.array([self.across[0]]), np.array([y]))[0][1] >> FINE
            cv2.line(self.image, (self.LEFT - 4, v), (self.LEFT, v), INK)
            write(self.image, f"{y:g}", (self.LEFT - 8 - width_of(f"{y:g}"), v + 4), INK, 0.38)
        corners = (self.LEFT, self.TOP), (self.LEFT + self.size[0], self.TOP + self.size[1])
        cv2.rectangle(self.image, *corners, FAINT)
        return self.image

    def _inner(self) -> Image:
        return self.image[self.TOP :, self.LEFT :][: self.size[1], : self.size[0]]

    def _at(
        self, x: NDArray[np.floating[Any]], y: NDArray[np.floating[Any]]
    ) -> list[tuple[int, int]]:
        u = self.LEFT + (x - self.across[0]) / (self.across[1] - self.across[0]) * self.size[0]
        v = self.TOP + (self.up[1] - y) / (self.up[1] - self.up[0]) * self.size[1]
        u, v = np.broadcast_arrays(u, v)
        return [(round(a * 2**FINE), round(b * 2**FINE)) for a, b in zip(u, v, strict=True)]


def levels(values: NDArray[np.floating[Any]]) -> Image:
    """Return values of 0 to 1 as a few grey levels."""
    coarse = np.rint(np.clip(np.nan_to_num(values, nan=1.0), 0.0, 1.0) * (GREYS - 1))
    return np.asarray(np.rint(coarse * (255.0 / (GREYS - 1))), dtype=np.uint8)


def bgr(frame: Image) -> Image:
    """Return a frame in colour, in a few levels."""
    few = levels(frame / 255.0)
    return few if few.ndim == 3 else np.repeat(few[:, :, None], 3, axis=2)


def write(image: Image, words: str, at: tuple[int, int], colour: Colour, size: float) -> None:
    """Write words into an image."""
    cv2.putText(image, words, at, cv2.FONT_HERSHEY_SIMPLEX, size, colour, 1, cv2.LINE_AA)


def width_of(words: str) -> int:
    """Return how wide small words are, in px."""
    return int(cv2.getTextSize(words, cv2.FONT_HERSHEY_SIMPLEX, 0.38, 1)[0][0])


def titled(image: Image, words: str) -> Image:
    """Return an image with words above it."""
    strip = np.full((24, image.shape[1], 3), 255, np.uint8)
    write(strip, words, (0, 15), INK, 0.45)
    return np.vstack([strip, image])


def framed(image: Image) -> Image:
    """Return an image with a faint line at its border."""
    cv2.rectangle(image, (0, 0), (image.shape[1] - 1, image.shape[0] - 1), FAINT)
    return image


def beside(*images: Image) -> Image:
    """Return images side by side, in the middle of the tallest one's height."""
    high = max(image.shape[0] for image in images)
    padded = []
    for image in images:
        free = high - image.shape[0]
        sides = (free // 2, free - free // 2, 0, 12)
        padded.append(cv2.copyMakeBorder(image, *sides, cv2.BORDER_CONSTANT, value=PAPER))
    return np.hstack(padded)


def below(*images: Image) -> Image:
    """Return images one below the other."""
    wide = max(image.shape[1] for image in images)
    return np.vstack(
        [
            cv2.copyMakeBorder(
                image, 0, 8, 0, wide - image.shape[1], cv2.BORDER_CONSTANT, value=PAPER
            )
            for image in images
        ]
    )
