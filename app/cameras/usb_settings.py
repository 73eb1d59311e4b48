"""What to ask of a USB camera, how each backend wants to be asked, and what came of it."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import cast

import numpy as np

from app.cameras.opencv import Capture, cv2
from app.cameras.source import Clock, Image

TRIAL_FRAMES = 10
"""Frames read after opening: neither `set` nor `get` can be believed, pictures can."""

MOST_MISSES = 3
LARGEST_LIGHT_CHANGE = 0.3
"""If locking the exposure changes the mean grey level by more than this part, the
driver had another value in store than the one that was in use: go back."""

LEAST_LIGHT = 10.0
"""Grey levels added on both sides of that comparison, so that dark pictures compare."""

SLOW_PART = 0.7
"""A rate below this part of what was asked for is worth a sentence."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UsbSettings:
    """What to ask of a USB camera.

    Attributes
    ----------
    width_px, height_px
        Picture size. The driver takes the nearest that it has.
    fps
        Frames a second.
    fourcc
        Pixel format. MJPG, since raw pictures of this size need more than USB 2 carries
        at a useful rate.
    lock_focus, lock_exposure, lock_white_balance
        Whether to switch automatic control off, where the backend lets us.
    exposure
        A value in the driver's own units; None for what automatic control had chosen.
    """

    width_px: int = 1280
    height_px: int = 960
    fps: float = 30.0
    fourcc: str = "MJPG"
    lock_focus: bool = True
    lock_exposure: bool = True
    lock_white_balance: bool = True
    exposure: float | None = None

    def __post_init__(self) -> None:
        if self.width_px <= 0 or self.height_px <= 0 or not self.fps > 0:
            raise ValueError(
                "width_px, height_px and fps must be above zero, got "
                f"{self.width_px}, {self.height_px}, {self.fps}"
            )
        if len(self.fourcc) != 4:
            raise ValueError(f"fourcc must have four letters, got {self.fourcc!r}")


@dataclass(frozen=True, slots=True, kw_only=True)
class BackendHabits:
    """How a backend wants to be asked.

    Attributes
    ----------
    order
        Of format, size and rate.
    rounds
        How often to ask; some drivers take the format only at the second time.
    manual_exposure, automatic_exposure
        What the switch for automatic exposure is set to; None if there is none.
    has_controls
        Whether there are any controls but size and rate.
    """

    order: tuple[str, ...]
    rounds: int = 1
    manual_exposure: float | None = None
    automatic_exposure: float | None = None
    has_controls: bool = True


HABITS = {
    # V4L2_EXPOSURE_MANUAL is 1, V4L2_EXPOSURE_APERTURE_PRIORITY 3 (Linux kernel,
    # include/uapi/linux/v4l2-controls.h).
    cv2.CAP_V4L2: BackendHabits(
        order=("format", "size", "rate"), manual_exposure=1.0, automatic_exposure=3.0
    ),
    cv2.CAP_DSHOW: BackendHabits(
        order=("size", "rate", "format"), rounds=2, manual_exposure=0.0, automatic_exposure=1.0
    ),
    cv2.CAP_MSMF: BackendHabits(
        order=("size", "rate"), manual_exposure=0.0, automatic_exposure=1.0
    ),
    cv2.CAP_AVFOUNDATION: BackendHabits(order=("size", "rate"), has_controls=False),
}
"""By OpenCV's number of the backend."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """What some frames after opening showed.

    Attributes
    ----------
    width_px, height_px
        Of the pictures themselves.
    fps
        As measured; infinity if it went too quickly to tell.
    mean_grey
        Of the last picture.
    """

    width_px: int
    height_px: int
    fps: float
    mean_grey: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedAndGot:
    """What was asked of a camera against what it does.

    Attributes
    ----------
    asked
        The settings.
    trial
        What the pictures show.
    fourcc
        The format that the driver says it sends; empty if it does not say.
    unlocked
        Automatic controls that may still be on, in words.
    """

    asked: UsbSettings
    trial: Trial
    fourcc: str
    unlocked: tuple[str, ...] = field(default=())

    def sentences(self) -> tuple[str, ...]:
        """Return what a person should know; the first tells what the camera gives."""
        trial, asked = self.trial, self.asked
        told = [
            f"Asked for {asked.width_px} x {asked.height_px} at {asked.fps:g} frames/s "
            f"({asked.fourcc}), got {trial.width_px} x {trial.height_px} at {trial.fps:.0f} "
            f"frames/s ({self.fourcc or 'format unknown'})."
        ]
        if trial.fps < SLOW_PART * asked.fps:
            told.append(
                "The camera is slower than asked for: give it more light, a USB port of its own, "
                "or a smaller picture."
            )
        if self.unlocked:
            told.append(
                f"Automatic {_list_words(self.unlocked)} could not be switched off from here: "
                "use the camera's own program for it, and watch whether the picture drifts."
            )
        return tuple(told)


def _list_words(words: tuple[str, ...]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def ask_for_format(capture: Capture, settings: UsbSettings, habits: BackendHabits) -> None:
    """Ask for pixel format, size and rate in the order that the backend needs."""
    asks: dict[str, Callable[[], object]] = {
        "format": lambda: capture.set(cv2.CAP_PROP_FOURCC, _number_of(settings.fourcc)),
        "size": lambda: (
            capture.set(cv2.CAP_PROP_FRAME_WIDTH, settings.width_px),
            capture.set(cv2.CAP_PROP_FRAME_HEIGHT, settings.height_px),
        ),
        # After each change of size again: the old rate of the size before would stay.
        "rate": lambda: capture.set(cv2.CAP_PROP_FPS, settings.fps),
    }
    for _ in range(habits.rounds):
        for name in habits.order:
            asks[name]()


def lock_controls(
    capture: Capture,
    settings: UsbSettings,
    habits: BackendHabits,
    before: Trial,
    clock: Clock = time.perf_counter,
) -> tuple[Trial, tuple[str, ...]]:
    """Switch automatic control off; return a new trial and what may still be automatic."""
    unlocked: list[str] = []
    if settings.lock_focus and not _switch_off(capture, cv2.CAP_PROP_AUTOFOCUS, habits):
        unlocked.append("focus")
    if settings.lock_white_balance and not _switch_off(capture, cv2.CAP_PROP_AUTO_WB, habits):
        unlocked.append("white balance")
    after = before
    if settings.lock_exposure:
        locked = _lock_exposure(capture, settings, habits)
        after = try_out(capture, clock) or before
        if locked and settings.exposure is None and _light_changed(before, after):
            capture.set(cv2.CAP_PROP_AUTO_EXPOSURE, cast("float", habits.automatic_exposure))
            after = try_out(capture, clock) or before
            locked = False
        if not locked:
            unlocked.append("exposure")
    return after, tuple(unlocked)


def try_out(capture: Capture, clock: Clock = time.perf_counter) -> Trial | None:
    """Read some frames and say what they show; None if there are none."""
    image: Image | None = None
    times_s: list[float] = []
    misses = 0
    while len(times_s) < TRIAL_FRAMES and misses < MOST_MISSES:
        decoded, picture = capture.retrieve() if capture.grab() else (False, None)
        if decoded and picture is not None:
            image = picture
            times_s.append(clock())
        else:
            misses += 1
    if image is None:
        return None
    lasted_s = times_s[-1] - times_s[0]
    fps = (len(times_s) - 1) / lasted_s if lasted_s > 0 else float("inf")
    return Trial(
        width_px=image.shape[1],
        height_px=image.shape[0],
        fps=fps,
        mean_grey=float(np.mean(image)),
    )


def format_of(capture: Capture) -> str:
    """Return the four letters of the pixel format; empty if the driver does not tell."""
    number = int(capture.get(cv2.CAP_PROP_FOURCC))
    if number <= 0:
        return ""
    letters = number.to_bytes(8, "little")[:4].decode("latin-1")
    return letters if letters.isprintable() else ""


def _number_of(fourcc: str) -> int:
    return int.from_bytes(fourcc.encode("latin-1"), "little")


def _switch_off(capture: Capture, control: int, habits: BackendHabits) -> bool:
    """Ask; a driver without the control says False, and then there is nothing to drift."""
    if not habits.has_controls:
        return False
    before = capture.get(control)
    if not capture.set(control, 0.0):
        # Drivers answer -1 or 0 for a control that they do not have.
        return before <= 0.0
    return capture.get(control) <= 0.0


def _lock_exposure(capture: Capture, settings: UsbSettings, habits: BackendHabits) -> bool:
    if habits.manual_exposure is None:
        return False
    value = capture.get(cv2.CAP_PROP_EXPOSURE) if settings.exposure is None else settings.exposure
    if not capture.set(cv2.CAP_PROP_AUTO_EXPOSURE, habits.manual_exposure):
        return False
    return capture.set(cv2.CAP_PROP_EXPOSURE, value)


def _light_changed(before: Trial, after: Trial) -> bool:
    change = abs(after.mean_grey - before.mean_grey)
    return change > LARGEST_LIGHT_CHANGE * (before.mean_grey + LEAST_LIGHT)
