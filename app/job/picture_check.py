"""What the picture says of a typed place.

Where a bore of the same tool was sighted before, the pixel scale tells how far the
machine has gone since. Before there is a scale, the bore's nominal size, or the jogs
already made, tell it roughly. Pure: the newest picture and the run in, numbers out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.dialects.values import OffsetMm
from app.job.budget import DEFAULT_SETTINGS, position_sigma_mm, reversal_mm
from app.job.facts import Approach, Sighted
from app.job.jogs import decimals_of, rounded_step
from app.job.live import Seen
from app.job.observations import MachineFigures
from app.job.run import Run
from app.job.sheet import SightScale, SightTool
from app.job.snapshot import Snapshot, by_design_mm, expected_vector_mm, in_display_mm
from vision.bore import BoreFit
from vision.geometry import PointPx
from vision.pixel_scale import PixelScale

LEAST_DOUBT_MM = 0.02
"""Smaller differences are not worth a question: a slip changes a shown digit by more."""

LEAST_DOUBT_ANEW_MM = 0.05
"""The same where the tool was taken anew in between: its seat and a camera that was
touched differ too, and those the closure tells better."""

DOUBT_SIGMAS = 4.0
"""One sound entry in some ten thousand lies this far out (normal distribution)."""

GUESS_SHARE = 0.3
"""How far, as a part of it, a jog may be off what is guessed without a scale: a bevel
broken wide makes the seen rim a third larger than the bore, and cameras stretch."""

BETTER_SHARE = 0.1
"""A typed jog that is off by more than this is doubted where the one that was asked for
fits at least twice as well."""

STILL_SHARE = 0.1
"""Less than this part of the jog that was asked for is no jog, before there is a scale."""

Matrix = NDArray[np.float64]
Place = tuple[float | None, float | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class AxisSaid:
    """What the picture says of X, or of Y.

    Attributes
    ----------
    says_mm
        What the display should show, in its steps; None where it cannot be told.
    agrees
        Whether what was typed agrees; None where it cannot be told.
    """

    says_mm: float | None = None
    agrees: bool | None = None


NOTHING = AxisSaid()


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What the picture says of a place; the sentence only where axes alone do not tell it."""

    x: AxisSaid = NOTHING
    y: AxisSaid = NOTHING
    sentence: str | None = None


def ask_picture(
    step: SightScale | SightTool,
    snapshot: Snapshot,
    place: Place,
    approach: Approach,
    seen: Seen | None,
) -> Said:
    """Return what the picture says of a place.

    Parameters
    ----------
    step, snapshot
        What is asked for, and the run.
    place
        X and Y as the display is said to show them; None where nothing was typed.
    approach
        From which side the place was reached.
    seen
        The finder's newest answer.
    """
    if seen is None or not isinstance(seen.fit, BoreFit):
        return Said()
    anchor = _anchor(snapshot.run, step.tool, seen.camera_generation)
    if isinstance(snapshot.scale, PixelScale):
        if anchor is None:
            return _plausible(step, snapshot, snapshot.scale, place, seen)
        return _by_scale(step, snapshot, snapshot.scale, place, approach, seen.fit, anchor)
    if anchor is not None and isinstance(step, SightScale) and step.expected is not None:
        return _roughly(step, snapshot, place, approach, seen.fit, anchor.seen)
    return Said()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Anchor:
    """The last sighting of the same tool, and whether it is of the same pick-up."""

    seen: Sighted
    same_pickup: bool


def _anchor(run: Run, tool: int, camera_generation: int) -> _Anchor | None:
    same_pickup = not run.homed_since_sighting
    for sighting in reversed(run.sightings):
        same_pickup = same_pickup and sighting.seen.tool == tool
        if sighting.counts and sighting.seen.tool == tool:
            if sighting.seen.camera_generation != camera_generation:
                # The picture may have another size since.
                return None
            return _Anchor(seen=sighting.seen, same_pickup=same_pickup)
        same_pickup = same_pickup and not sighting.homed_before
    return None


def _by_scale(
    step: SightScale | SightTool,
    snapshot: Snapshot,
    scale: PixelScale,
    place: Place,
    approach: Approach,
    fit: BoreFit,
    anchor: _Anchor,
) -> Said:
    """C = C_last + M^-1 (p - p_last), and what is not known of that."""
    profile = snapshot.run.profile
    last, d = anchor.seen, in_display_mm(snapshot.run.profile, step.tool)
    moved = scale.to_mm(_from(last.centre_px, fit.centre_px))
    says = _carriage(last) + _xy(d) + np.array(moved)
    sigmas = _sigmas(scale, MachineFigures.of(profile), fit, anchor, approach)
    least = LEAST_DOUBT_MM if anchor.same_pickup else LEAST_DOUBT_ANEW_MM
    limits = np.maximum(least, DOUBT_SIGMAS * sigmas)
    x, y = (
        _axis(typed, float(said), float(limit), profile.display_step_mm)
        for typed, said, limit in zip(place, says, limits, strict=True)
    )
    doubtful = x.agrees is False or y.agrees is False
    still = anchor.same_pickup and bool(np.all(np.abs((moved.x, moved.y)) <= limits))
    # A tool may be sighted again where it stands, and its place be mistyped; for the
    # scale a jog is always due.
    is_due = isinstance(step, SightScale) or place == _asked(step)
    if doubtful and still and is_due:
        return _still_there(place, _carriage(last) + _xy(d))
    return Said(x=x, y=y)


_STILL_THERE = "The picture still shows the place that was sighted last: make the jogs first."


def _still_there(place: Place, last_shown_mm: Matrix) -> Said:
    """Return that the machine stands where it was sighted last, and what is typed does not."""
    x, y = (
        AxisSaid(says_mm=float(last), agrees=None if typed is None else _is_same(typed, last))
        for typed, last in zip(place, _whole(last_shown_mm), strict=True)
    )
    return Said(x=x, y=y, sentence=_STILL_THERE)


def _whole(place_mm: Matrix) -> tuple[float, float]:
    """Return a place with no residue of binary fractions."""
    x, y = (round(float(value), 6) + 0.0 for value in place_mm)
    return x, y


def _is_same(a_mm: float, b_mm: float) -> bool:
    return abs(a_mm - b_mm) < 1e-9


def _axis(typed: float | None, says: float, limit: float, display_step_mm: float) -> AxisSaid:
    shown = rounded_step(says, display_step_mm) + 0.0
    if typed is None:
        return AxisSaid(says_mm=shown)
    # A machine stands on steps of its display: what rounds to the same is the same.
    is_same = abs(shown - typed) < display_step_mm / 2.0
    return AxisSaid(says_mm=shown, agrees=is_same or abs(says - typed) <= limit)


def _sigmas(
    scale: PixelScale, figures: MachineFigures, fit: BoreFit, anchor: _Anchor, approach: Approach
) -> Matrix:
    """Return the standard uncertainty of typed minus said, shape (2,), mm."""
    last = anchor.seen
    to_mm = np.linalg.inv(scale.matrix_px_per_mm)
    centres = fit.cov_px2.matrix() + last.temporal_cov_px2.matrix() + last.static_cov_px2.matrix()
    step = scale.step_cov_mm2(_from(last.centre_px, fit.centre_px)).matrix()
    variances = np.diag(to_mm @ centres @ to_mm.T + step) + 2.0 * position_sigma_mm(figures) ** 2
    if not anchor.same_pickup:
        lean_mm = DEFAULT_SETTINGS.focus_sigma_mm * math.radians(DEFAULT_SETTINGS.tilt_bound_deg)
        seat_mm = figures.pickup_repeatability_um * 1e-3
        variances = variances + 2.0 * (seat_mm**2 + lean_mm**2 / 3.0)
    sides = zip(approach, last.approach, strict=True)
    reversals = [_reversal_doubt_mm(figures, now, then) for now, then in sides]
    sigmas: Matrix = np.sqrt(variances + np.square(reversals))
    return sigmas


def _reversal_doubt_mm(figures: MachineFigures, now: int, then: int) -> float:
    whole = math.hypot(*reversal_mm(figures, DEFAULT_SETTINGS))
    if now == 0 or then == 0:
        return whole / 2.0
    return 0.0 if now == then else whole


def _plausible(
    step: SightScale | SightTool, snapshot: Snapshot, scale: PixelScale, place: Place, seen: Seen
) -> Said:
    """Return of a tool never sighted only whether its nozzle would stand where one can."""
    profile, target = snapshot.run.profile, snapshot.target_px
    reference = snapshot.run.tool_sightings(profile.reference_tool)
    x, y = place
    if x is None or y is None or target is None or not reference:
        return Said()
    if reference[0].seen.camera_generation != seen.camera_generation:
        # The picture may have another size since, and the target another place in it.
        return Said()
    assert isinstance(seen.fit, BoreFit)
    off = scale.to_mm(_from(target, seen.fit.centre_px))
    here = np.array([x, y]) - _xy(in_display_mm(profile, step.tool))
    vector = _carriage(reference[0].seen) - here + np.array(off)
    expected = (expected_vector_mm(profile, step.tool), by_design_mm(profile, step.tool))
    misses = [vector - np.array([one.x, one.y]) for one in expected]
    miss = min(misses, key=lambda one: float(np.linalg.norm(one)))
    far = float(np.linalg.norm(miss))
    if far <= profile.vector_limit_mm:
        return Said()
    wrong = np.abs(miss) >= 0.5 * float(np.abs(miss).max())
    axes = [AxisSaid(agrees=False) if bad else NOTHING for bad in wrong]
    names = " and ".join(axis for axis, bad in zip("XY", wrong, strict=True) if bad)
    return Said(
        x=axes[0],
        y=axes[1],
        sentence=f"Nozzle {step.tool} would stand {far:.2f} mm from where it is expected, and "
        f"{profile.vector_limit_mm:g} mm is the most: compare {names} with the display.",
    )


def _roughly(
    step: SightScale,
    snapshot: Snapshot,
    place: Place,
    approach: Approach,
    fit: BoreFit,
    last: Sighted,
) -> Said:
    """Return, before there is a scale, whether the jog's length and direction fit."""
    x, y = place
    expected = step.expected
    if x is None or y is None or expected is None:
        return Said()
    before = _carriage(last) + _xy(in_display_mm(snapshot.run.profile, step.tool))
    jog, asked = (
        complex(x, y) - complex(*before),
        complex(expected.x, expected.y) - complex(*before),
    )
    way = _from(last.centre_px, fit.centre_px)
    noise = _noise_mm(snapshot, approach, last.approach)
    guess_mm = math.hypot(*way) * _mm_per_px(snapshot.run, last)
    fits = _Fits(
        length_mm=guess_mm, noise_mm=noise, jogs=_jogs_like_the_first(snapshot.run, complex(*way))
    )
    if fits.prefer(asked, jog):
        return Said(x=_asked_axis(x, expected.x), y=_asked_axis(y, expected.y))
    if fits.admit(jog):
        return Said()
    if guess_mm <= max(noise, STILL_SHARE * abs(asked)):
        return _still_there(place, before)
    decimals = decimals_of(snapshot.run.profile.display_step_mm)
    return Said(
        x=AxisSaid(agrees=False) if jog.real or not jog else NOTHING,
        y=AxisSaid(agrees=False) if jog.imag or not jog else NOTHING,
        sentence=f"As typed the machine went {abs(jog):.{decimals}f} mm from the last place; "
        f"{fits.words()}.",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fits:
    """Which jogs fit the picture; a jog is a complex number x + iy, in mm.

    Attributes
    ----------
    length_mm
        Of the way in the picture, guessed from the bore's nominal size.
    noise_mm
        What is not known of a jog's end.
    jogs
        The jogs that the way in the picture can stand for by the jog before, the
        picture plain or mirrored; empty where there was none.
    """

    length_mm: float
    noise_mm: float
    jogs: tuple[complex, ...]

    def admit(self, jog: complex) -> bool:
        """Whether a jog fits at all."""
        return self._miss_mm(jog) <= GUESS_SHARE * self._longer_mm(jog) + self.noise_mm

    def prefer(self, asked: complex, jog: complex) -> bool:
        """Whether the jog that was asked for fits, and much better than the one typed."""
        miss = self._miss_mm(jog)
        is_off = miss > BETTER_SHARE * self._longer_mm(jog) + self.noise_mm
        return is_off and self.admit(asked) and self._miss_mm(asked) < miss / 2.0

    def _miss_mm(self, jog: complex) -> float:
        if not self.jogs:
            return abs(abs(jog) - self.length_mm)
        return min(abs(jog - one) for one in self.jogs)

    def _longer_mm(self, jog: complex) -> float:
        return max(abs(jog), abs(self.jogs[0]) if self.jogs else self.length_mm)

    def words(self) -> str:
        """Return what the picture shows."""
        if not self.jogs:
            return f"the picture shows about {self.length_mm:.2g} mm"
        length = abs(self.jogs[0])
        return f"the picture shows about {length:.2g} mm, or another direction"


def _jogs_like_the_first(run: Run, way: complex) -> tuple[complex, ...]:
    """Return what a way in the picture means by the first jog, pixels taken as square.

    With u to the right and v down, as seen by a camera that looks up, a plain picture
    turns and stretches: p = a C; a mirrored one p = a conj(C).
    """
    seen = [s.seen for s in run.scale_sightings()]
    if len(seen) != 2:
        return ()
    first_mm = complex(*_carriage(seen[1])) - complex(*_carriage(seen[0]))
    first_px = complex(*_from(seen[0].centre_px, seen[1].centre_px))
    if abs(first_mm) < 0.05 or abs(first_px) < 5.0:
        return ()
    turned = way / (first_px / first_mm)
    mirrored = (way / (first_px / first_mm.conjugate())).conjugate()
    return turned, mirrored


def _asked_axis(typed: float, asked: float) -> AxisSaid:
    return NOTHING if _is_same(typed, asked) else AxisSaid(says_mm=asked, agrees=False)


def _asked(step: SightScale | SightTool) -> Place:
    return (None, None) if step.expected is None else (step.expected.x, step.expected.y)


def _noise_mm(snapshot: Snapshot, now: Approach, then: Approach) -> float:
    figures = MachineFigures.of(snapshot.run.profile)
    reversal = max(_reversal_doubt_mm(figures, a, b) for a, b in zip(now, then, strict=True))
    sigma = math.hypot(math.sqrt(2.0) * position_sigma_mm(figures), reversal)
    return max(LEAST_DOUBT_MM, DOUBT_SIGMAS * sigma)


def _mm_per_px(run: Run, seen: Sighted) -> float:
    return run.profile.tool(seen.tool).bore_mm / 2.0 / seen.radius_px


def _carriage(seen: Sighted) -> Matrix:
    """Return C = shown - in_display, shape (2,)."""
    shown, d = seen.position, seen.in_display_mm
    return np.array([shown.x - d.x, shown.y - d.y])


def _xy(offset: OffsetMm) -> Matrix:
    return np.array([offset.x, offset.y])


def _from(start: PointPx, end: PointPx) -> PointPx:
    return PointPx(end.u - start.u, end.v - start.v)
