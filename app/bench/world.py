"""One simulated workshop: hidden truth, a machine, a camera on the bed, one time.

A camera and a machine are two views of it (`BenchCamera`, `BenchMachine`): each
sees what a real one would see, and nothing of the truth.
"""

from __future__ import annotations

import math
import threading
import zlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.bench.axes import Mm3
from app.bench.clock import Clock, VirtualClock
from app.bench.controller import Controller, TipPlace
from app.bench.firmware import RULES
from app.bench.lens import CameraBody
from app.bench.truth import Eye, Truth, draw_truth
from app.errors import InputError
from app.job.profile import Profile


@dataclass(frozen=True, slots=True, kw_only=True)
class Glimpse:
    """Where a tip is seen at one moment.

    Attributes
    ----------
    tool
        Whose tip it is.
    centre_px
        Shape (2,): projection of the bore's centre.
    flat_centre_px
        Shape (2,): the same through a lens without distortion.
    height_mm
        How far the tip stands above the plane of focus.
    """

    tool: int
    centre_px: NDArray[np.float64]
    flat_centre_px: NDArray[np.float64]
    height_mm: float


class World:
    """Truth, clock, noise and lock of one simulated workshop. Any thread may call.

    Made by `make_world`.
    """

    def __init__(self, profile: Profile, truth: Truth, clock: Clock) -> None:
        rules = RULES.get(profile.dialect)
        if rules is None:
            raise InputError(
                f'The bench does not know the dialect "{profile.dialect}"; '
                f"it has {', '.join(sorted(RULES))}.",
                code="unknown-dialect",
                path="dialect",
                value=profile.dialect,
            )
        self.profile = profile
        self.clock = clock
        self.lock = threading.RLock()
        self._truth = truth
        self._body = CameraBody(truth.eye, np.random.default_rng([truth.seed, 3]))
        self.controller = Controller(
            profile, rules, truth, clock=clock, lock=self.lock, body=self._body
        )

    @property
    def truth(self) -> Truth:
        """What is hidden; for tests and for comparing afterwards, never for the job."""
        return self._truth

    @property
    def camera_at_mm(self) -> tuple[float, float]:
        """Where the person laid the camera, to a millimetre: the reference tool's X and Y."""
        x_mm, y_mm = self._truth.eye.at_mm
        return float(round(x_mm)), float(round(y_mm))

    @property
    def knocks(self) -> int:
        """How often the camera was hit by a head that came too low."""
        with self.lock:
            return self._body.knocks

    def true_vectors_mm(self) -> dict[int, tuple[float, float, float]]:
        """Return every nozzle vector as an ideal run would find it now.

        Seen from the reference nozzle, in machine axes, the mean over future
        pick-ups. Where X of a second carriage is stored as the coordinate at its
        switch, entering a new one moves that carriage's frame, and with it this
        vector: afterwards it is near zero.
        """
        with self.lock:
            reference = self._seen_from_frame(self.profile.reference_tool)
            vectors: dict[int, tuple[float, float, float]] = {}
            for tool in self.profile.tools:
                seen = self._seen_from_frame(tool.number).minus(reference)
                vectors[tool.number] = (seen.x, seen.y, seen.z)
            return vectors

    def glimpse(self, time_s: float) -> Glimpse:
        """Return where the active tool's tip is seen at a moment that has passed."""
        with self.lock:
            tip = self.controller.tip(time_s)
            pushed = self._body.shift_mm(time_s)
        creep = self._truth.play.camera_wander
        eye_moved_mm = np.array([pushed[0] + creep[0].at(time_s), pushed[1] + creep[1].at(time_s)])
        return look(self._truth.eye, tip, eye_moved_mm)

    def close(self) -> None:
        """Wake whoever waits for this world; a second call does nothing."""
        self.clock.stop()

    def _seen_from_frame(self, tool: int) -> Mm3:
        moved_mm = self.controller.firmware.moved_frame_x_mm(tool)
        return self._truth.nozzles_mm[tool].minus(Mm3(x=moved_mm))


def look(eye: Eye, tip: TipPlace, eye_moved_mm: NDArray[np.float64]) -> Glimpse:
    """Project a tip into the picture; `eye_moved_mm`, shape (2,), is the camera's creep."""
    height_mm = tip.at_mm.z - eye.focus_z_mm
    tilted = height_mm * math.tan(eye.tilt_rad)
    lean_mm = tilted * np.array([math.cos(eye.tilt_towards_rad), math.sin(eye.tilt_towards_rad)])
    from_axis_mm = np.array([tip.at_mm.x, tip.at_mm.y]) - eye.at_mm - eye_moved_mm + lean_mm
    flat_px = eye.matrix_px_per_mm @ from_axis_mm
    corner_px = math.hypot(*eye.size_px) / 2.0
    stretch = 1.0 + eye.distortion * float(flat_px @ flat_px) / corner_px**2
    return Glimpse(
        tool=tip.tool,
        centre_px=eye.middle_px + stretch * flat_px,
        flat_centre_px=eye.middle_px + flat_px,
        height_mm=height_mm,
    )


def make_world(
    profile: Profile,
    *,
    seed: int,
    clock: Clock | None = None,
    size_px: tuple[int, int] = (640, 480),
    um_per_px: float = 5.5,
    flipped: bool = False,
    drop_of_plastic: bool = True,
) -> World:
    """Return a workshop for this machine; every random value comes from the seed.

    Parameters
    ----------
    profile
        The machine as its owner knows it.
    seed
        Zero or more. The same seed and machine give the same truth and, asked the
        same, the same noise.
    clock
        Where time comes from; by default a `VirtualClock`, so nobody waits.
    size_px, um_per_px
        The camera's picture, and about what one pixel is worth.
    flipped
        Whether the picture is mirrored.
    drop_of_plastic
        Whether one tool has a drop of plastic at its rim.

    Raises
    ------
    InputError
        For a dialect that the bench's firmware does not know.
    ValueError
        For a negative seed.
    """
    if seed < 0:
        raise ValueError(f"seed must be zero or more, got {seed}")
    truth = draw_truth(
        profile,
        # Machines of one workshop must not share their luck, so the name counts too.
        seed=seed * 2**32 + zlib.crc32(profile.name.encode()),
        size_px=size_px,
        um_per_px=um_per_px,
        flipped=flipped,
        drop_of_plastic=drop_of_plastic,
    )
    return World(profile, truth, clock or VirtualClock())
