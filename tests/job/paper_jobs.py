"""Whole jobs on paper: evidence with a known truth, sound or with noise of a stated kind."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from app.dialects.values import OffsetMm
from app.job.facts import Approach, Position
from app.job.observations import Evidence, MachineFigures, Observation, number_pickups
from app.job.offsets import Solution, learn_scale_from, solve
from vision.geometry import CovPx2, PointPx
from vision.pixel_scale import PixelScale

Matrix = NDArray[np.float64]
Draw = Callable[[np.random.Generator], Matrix]

MATRIX = np.array([[180.0, 12.0], [-11.0, 182.0]])
TARGET_PX = np.array([320.0, 240.0])
START_MM = np.array([150.0, 100.0])
JOGS = ((0.0, 0.0), (0.6, 0.0), (0.18, 0.57), (-0.48, 0.36), (-0.48, -0.36), (0.18, -0.57))
GROWING = Approach(1, 1)
VECTORS = {0: (0.0, 0.0), 1: (-0.34, 0.12), 2: (0.21, -0.5)}

QUIET = MachineFigures(
    display_step_mm=0.001,
    whole_steps=True,
    motor_step_mm=0.0,
    repeatability_um=1.0,
    reversal_um=0.0,
    pickup_repeatability_um=0.0,
)
"""A machine of which next to nothing is doubtful."""


def observe(
    tool: int,
    place: Sequence[float] | Matrix,
    *,
    matrix: Matrix = MATRIX,
    vectors: Mapping[int, Sequence[float]] = VECTORS,
    z: float | None = 5.0,
    approach: Approach = GROWING,
    pickup: int = 0,
    off_mm: Sequence[float] | Matrix = (0.0, 0.0),
    temporal: float = 1e-8,
    static: float = 1e-8,
    radius: float | None = 36.0,
    path: str = "",
) -> Observation:
    """Return one sighting; `off_mm` is where the nozzle really stood beside its place."""
    stands = np.array(place) + vectors[tool] - START_MM + np.array(off_mm)
    u, v = TARGET_PX + matrix @ stands
    return Observation(
        path=path or f"tool {tool} at {place[0]:g}, {place[1]:g}",
        tool=tool,
        shown_mm=Position(float(place[0]), float(place[1]), z),
        in_display_mm=OffsetMm(),
        approach=approach,
        centre_px=PointPx(float(u), float(v)),
        temporal_cov_px2=CovPx2(temporal, 0.0, temporal),
        static_cov_px2=CovPx2(static, 0.0, static),
        radius_px=radius,
        pickup=pickup,
    )


def numbered(sightings: Sequence[Observation]) -> tuple[Observation, ...]:
    """Return the sightings with a new pick-up at each change of tool."""
    pickups = number_pickups(tuple(s.tool for s in sightings), tuple(False for _ in sightings))
    return tuple(
        replace(s, pickup=n, path=f"sightings[{i}]")
        for i, (s, n) in enumerate(zip(sightings, pickups, strict=True))
    )


def scale_jogs(matrix: Matrix = MATRIX) -> tuple[Observation, ...]:
    """Return six exact places of the reference tool."""
    return tuple(
        observe(0, START_MM + jog, matrix=matrix, path=f"scale_jogs[{i}]")
        for i, jog in enumerate(JOGS)
    )


def evidence_of(
    *sightings: Observation,
    figures: MachineFigures = QUIET,
    jogs: tuple[Observation, ...] | None = None,
) -> Evidence:
    """Return a job with these sightings, in order of time."""
    return Evidence(
        reference_tool=0,
        figures=figures,
        scale_jogs=scale_jogs() if jogs is None else jogs,
        sightings=numbered(sightings),
    )


def plain_job(figures: MachineFigures = QUIET) -> Evidence:
    """Return the sound job: reference, two tools nearly at the target, reference again."""
    return evidence_of(
        observe(0, (150.0, 100.0)),
        observe(1, (150.34, 99.87)),
        observe(2, (149.8, 100.5)),
        observe(0, (150.0, 100.0)),
        figures=figures,
    )


def scale_of(evidence: Evidence) -> PixelScale:
    """Return the pixel scale of a job that has one."""
    scale = learn_scale_from(evidence)
    assert isinstance(scale, PixelScale), scale
    return scale


def solved(evidence: Evidence) -> Solution:
    """Return a job's offsets through the real functions."""
    return solve(evidence, scale_of(evidence))


def normal(rng: np.random.Generator) -> Matrix:
    return rng.standard_normal(2)


def rectangular(rng: np.random.Generator) -> Matrix:
    return rng.uniform(-math.sqrt(3.0), math.sqrt(3.0), 2)


def laplace(rng: np.random.Generator) -> Matrix:
    return rng.laplace(0.0, math.sqrt(0.5), 2)


def triangular(rng: np.random.Generator) -> Matrix:
    return rng.triangular(-math.sqrt(6.0), 0.0, math.sqrt(6.0), 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class NoisyShop:
    """Draws jobs of one machine whose noise is what its figures say, in its own shape.

    Attributes
    ----------
    figures
        What the owner states.
    repeats
        Unit-variance shape of coming back to a place.
    rounds
        How often each tool other than the reference is sighted.
    sides
        The approaches that occur; they are told to the job unless `silent`.
    scatter
        How many times the stated repeatability the machine really has.
    drift_um
        How far the camera creeps during the job, evenly.
    """

    figures: MachineFigures = MachineFigures()  # noqa: RUF009 - a frozen value
    repeats: Draw = normal
    rounds: int = 1
    sides: tuple[int, ...] = (1,)
    silent: bool = False
    scatter: float = 1.0
    drift_um: float = 0.0

    def job(self, rng: np.random.Generator) -> Evidence:
        tools = (0, *((1, 2) * self.rounds), 0)
        truth = _Truth.drawn(rng, self)
        jogs = [self._seen(rng, truth, 0, np.array(jog), -1, 0.0) for jog in JOGS]
        drift = np.array([1.0, -0.6]) * self.drift_um * 1e-3
        sightings = []
        for i, tool in enumerate(tools):
            near = rng.uniform(-0.05, 0.05, 2) - VECTORS[tool]
            creep = drift * i / (len(tools) - 1)
            sightings.append(self._seen(rng, truth, tool, near, i, creep))
        return Evidence(
            reference_tool=0,
            figures=self.figures,
            scale_jogs=tuple(replace(s, path=f"scale_jogs[{i}]") for i, s in enumerate(jogs)),
            sightings=numbered(sightings),
        )

    def _seen(
        self,
        rng: np.random.Generator,
        truth: _Truth,
        tool: int,
        step: Matrix,
        pickup: int,
        creep: Matrix | float,
    ) -> Observation:
        figures = self.figures
        display = figures.display_step_mm
        shown = np.round((START_MM + step) / display) * display
        hidden = 0.0 if figures.whole_steps else rng.uniform(-0.5, 0.5, 2) * display
        asked = shown + hidden
        motor = figures.motor_step_mm
        really = np.round((asked + truth.phase) / motor) * motor - truth.phase if motor else asked
        sides = rng.choice(self.sides, 2)
        off = really - shown + self.repeats(rng) * figures.repeatability_um * 1e-3 * self.scatter
        off = off + (1 - sides) / 2.0 * truth.reversal_mm + creep
        if pickup >= 0:
            off = off + truth.pickup(rng, pickup)
        blank = observe(
            tool,
            shown,
            off_mm=off,
            temporal=0.02**2,
            static=0.05**2,
            approach=Approach() if self.silent else Approach(int(sides[0]), int(sides[1])),
        )
        noise = rng.normal(0.0, 0.02, 2) + truth.static_px[tool]
        return replace(
            blank, centre_px=PointPx(blank.centre_px.u + noise[0], blank.centre_px.v + noise[1])
        )


@dataclass(frozen=True, slots=True)
class _Truth:
    """What stays the same in one job: the tips' looks, the backlash, the camera's tilt."""

    static_px: dict[int, Matrix]
    reversal_mm: Matrix
    phase: Matrix
    tilt_rad: Matrix
    pickup_sigma_mm: float

    @classmethod
    def drawn(cls, rng: np.random.Generator, shop: NoisyShop) -> _Truth:
        stated = shop.figures.reversal_um
        # Backlash is never negative; its mean square is what the budget believes.
        reversal = (
            np.abs(rng.normal(0.0, 40.0, 2))
            if stated is None
            else np.abs(rng.normal(stated, 0.5 * stated, 2))
        )
        static = {n: rng.normal(0.0, 0.05, 2) + rng.uniform(-0.04, 0.04, 2) for n in VECTORS}
        return cls(
            static,
            reversal * 1e-3,
            rng.uniform(0.0, 1.0, 2),
            np.radians(rng.uniform(-4.0, 4.0, 2)),
            shop.figures.pickup_repeatability_um * 1e-3,
        )

    def pickup(self, rng: np.random.Generator, number: int) -> Matrix:
        seat = rng.normal(0.0, self.pickup_sigma_mm, 2)
        height: Matrix = seat + self.tilt_rad * rng.normal(0.0, 0.04)
        return height
