"""Disorder that is not what a budget assumes: heavy tails, and memory of its own past."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Wander:
    """A slow, bounded wander of one number: a sum of sines of unlike periods.

    A plain function of time, so it does not matter who asks, when, or how often.

    Attributes
    ----------
    amplitude, omega_rad_per_s, phase_rad
        Shape (K,) each, one entry a sine.
    """

    amplitude: NDArray[np.float64]
    omega_rad_per_s: NDArray[np.float64]
    phase_rad: NDArray[np.float64]

    def at(self, time_s: float) -> float:
        """Return where the number has wandered to."""
        angle = self.omega_rad_per_s * time_s + self.phase_rad
        return float(np.sum(self.amplitude * np.sin(angle)))


def draw_wander(
    rng: np.random.Generator, *, sigma: float, periods_s: tuple[float, float]
) -> Wander:
    """Return a wander with the long-run standard deviation `sigma`.

    Periods are spread evenly on a logarithmic scale over `periods_s`.
    """
    count = 5
    share = rng.uniform(0.5, 1.5, count)
    # A sine of amplitude a has the variance a^2 / 2.
    amplitude = sigma * math.sqrt(2.0) * share / float(np.linalg.norm(share))
    period_s = np.exp(rng.uniform(math.log(periods_s[0]), math.log(periods_s[1]), count))
    return Wander(
        amplitude=amplitude,
        omega_rad_per_s=2.0 * math.pi / period_s,
        phase_rad=rng.uniform(0.0, 2.0 * math.pi, count),
    )


def draw_scatter(rng: np.random.Generator, *, sigma: float) -> float:
    """Return one draw with standard deviation `sigma` that is far from Gaussian.

    Half of the draws come from a uniform distribution and half from a Laplace
    one, both with the same standard deviation.
    """
    if rng.random() < 0.5:
        return float(rng.uniform(-1.0, 1.0)) * sigma * math.sqrt(3.0)
    return float(rng.laplace(0.0, 1.0)) * sigma / math.sqrt(2.0)
