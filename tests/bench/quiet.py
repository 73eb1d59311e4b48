"""Workshops without any disorder, for tests where geometry is the question."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from app.bench import Clock, VirtualClock, World, make_world
from app.bench.axes import Mm3
from app.bench.noise import Wander
from app.bench.truth import Truth
from app.job.profile import Profile

NO_WANDER = Wander(amplitude=np.zeros(1), omega_rad_per_s=np.ones(1), phase_rad=np.zeros(1))


def quiet(truth: Truth) -> Truth:
    """Return the same workshop without play, scatter, drift, ringing."""
    still = dict.fromkeys("xyzu", NO_WANDER)
    play = replace(
        truth.play,
        backlash_mm=Mm3(),
        scatter_mm=0.0,
        pickup_mm=0.0,
        homing_mm=0.0,
        axis_wander=still,
        pickup_wander=dict.fromkeys(truth.nozzles_mm, (NO_WANDER,) * 3),
        camera_wander=(NO_WANDER, NO_WANDER),
        ring_mm=0.0,
    )
    return replace(truth, play=play)


def quiet_world(profile: Profile, *, seed: int, clock: Clock | None = None) -> World:
    return World(profile, quiet(make_world(profile, seed=seed).truth), clock or VirtualClock())
