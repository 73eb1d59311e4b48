"""Sharpness of a picture, and the height at which it is sharpest.

The same measure, spacing and middle of the sweep serve every tool: an asymmetric
blur shifts the peak by tens of micrometres, but alike for all of them, so that
differences of heights stay true. Exposure must be locked.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares
from scipy.stats import f as f_distribution

from vision.geometry import PointPx

Array = NDArray[np.float64]

SMOOTHING_PX = 1.0
"""Noise of single pixels is not sharpness; unsmoothed measures wander ten times as far."""


def sharpness(
    frame: NDArray[np.uint8] | NDArray[np.uint16],
    *,
    centre_px: PointPx | None = None,
    radius_px: float | None = None,
) -> float:
    """Return how sharp a picture is: mean squared gradient (Tenengrad) in a window.

    Parameters
    ----------
    frame
        Grey (H, W) or BGR (H, W, 3), uint8 or uint16, any strides.
    centre_px, radius_px
        The round window that counts; both, or neither for the whole picture. About
        twice the radius of the bore takes in the rim and leaves out the rest.

    Returns
    -------
    float
        In squared parts of full scale per pixel. Comparable only between pictures
        of one exposure and one window.

    Raises
    ------
    ValueError
        When the frame is no picture, or the window holds none of it.

    References
    ----------
    Pertuz, Puig & Garcia 2013, Pattern Recognition 46, 1415-1432 (operator GRA6).
    """
    if (centre_px is None) != (radius_px is None):
        raise ValueError("centre_px and radius_px belong together: give both or neither")
    grey = _grey(frame)
    if centre_px is None or radius_px is None:
        return float(_squared_gradient(grey).mean())
    top, left, inside = _window(grey.shape, centre_px, radius_px)
    cut = grey[top : top + inside.shape[0], left : left + inside.shape[1]]
    return float(_squared_gradient(cut)[inside].mean())


def _grey(frame: NDArray[np.uint8] | NDArray[np.uint16]) -> NDArray[np.float32]:
    if frame.dtype not in (np.uint8, np.uint16):
        raise ValueError(f"frame must be uint8 or uint16, got {frame.dtype}")
    if frame.ndim not in (2, 3) or (frame.ndim == 3 and frame.shape[2] != 3) or frame.size == 0:
        raise ValueError(f"frame must have shape (H, W) or (H, W, 3), got {frame.shape}")
    whole: NDArray[np.uint8] | NDArray[np.uint16] = frame.copy(order="C")
    grey = cv2.cvtColor(whole, cv2.COLOR_BGR2GRAY) if whole.ndim == 3 else whole
    return np.asarray(grey, dtype=np.float32) / np.float32(np.iinfo(frame.dtype).max)


def _window(
    shape: tuple[int, ...], centre_px: PointPx, radius_px: float
) -> tuple[int, int, NDArray[np.bool_]]:
    """Return top row, left column and mask of the round window, cut at the picture's edge."""
    if not (radius_px > 0.0 and math.isfinite(radius_px)):
        raise ValueError(f"radius_px must be positive, got {radius_px}")
    if not all(math.isfinite(part) for part in centre_px):
        raise ValueError(f"centre_px must be finite, got {centre_px}")
    left, right = _clipped(centre_px.u, radius_px, shape[1])
    top, bottom = _clipped(centre_px.v, radius_px, shape[0])
    v, u = np.mgrid[top:bottom, left:right]
    inside = np.hypot(u - centre_px.u, v - centre_px.v) <= radius_px
    if not bool(inside.any()):
        raise ValueError("the window of centre_px and radius_px lies outside of the picture")
    return top, left, inside


def _clipped(middle: float, reach: float, size: int) -> tuple[int, int]:
    low = max(math.floor(middle - reach), 0)
    return min(low, size), max(min(math.ceil(middle + reach) + 1, size), 0)


def _squared_gradient(grey: NDArray[np.float32]) -> Array:
    smooth = cv2.GaussianBlur(grey, (0, 0), SMOOTHING_PX)
    # A Sobel kernel sums eight times the derivative.
    along_u = cv2.Sobel(smooth, cv2.CV_64F, 1, 0, ksize=3, scale=0.125)
    along_v = cv2.Sobel(smooth, cv2.CV_64F, 0, 1, ksize=3, scale=0.125)
    return np.asarray(along_u**2 + along_v**2, dtype=np.float64)


class PeakShape(StrEnum):
    """The curve that is laid through the sweep."""

    LORENTZ = "lorentz"
    GAUSS = "gauss"


class FocusReason(StrEnum):
    """Why no focus was found."""

    TOO_FEW = "too-few-heights"
    NOT_FINITE = "not-finite"
    FLAT = "flat"
    AT_END = "peak-at-the-end"
    NO_PEAK = "no-single-peak"


@dataclass(frozen=True, slots=True, kw_only=True)
class FocusSettings:
    """How the curve is fitted and what is believed, each with its reason.

    Attributes
    ----------
    shape
        Tenengrad against height is nearer to a Lorentz curve than to a Gaussian:
        its tails fall off slowly.
    base
        Sharpness far off the focus; None to fit it.
    least_heights
        Fewer leave nothing to judge the four numbers of the curve by.
    noise_level
        Probability of an F-test below which the curve is believed to be more than
        a straight level with noise on it.
    least_width_steps
        Least width of the peak in steps of the sweep: one sharp picture among
        blurred ones is a glint or a spike, not a focus.
    largest_u_share
        Largest standard uncertainty of the peak's height, as a part of the sweep.
    """

    shape: PeakShape = PeakShape.LORENTZ
    base: float | None = None
    least_heights: int = 6
    noise_level: float = 1e-3
    least_width_steps: float = 0.5
    largest_u_share: float = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class FocusPeak:
    """The height at which the picture is sharpest.

    Attributes
    ----------
    z_mm
        The peak.
    sigma_mm
        Its standard uncertainty, from the scatter about the curve.
    dof
        Degrees of freedom of that.
    width_mm
        Gaussian standard deviation, or Lorentz half width at half height.
    height, base
        Of the curve: at the peak it is `base + height`.
    residual
        Standard deviation of the sharpness about the curve.
    """

    z_mm: float
    sigma_mm: float
    dof: int
    width_mm: float
    height: float
    base: float
    residual: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FocusRefusal:
    """Why there is no focus, in plain words.

    Attributes
    ----------
    reason
        The kind of refusal.
    message
        What is wrong, in one sentence for a person.
    remedy
        What to do about it, in one sentence.
    towards
        +1 when the focus lies beyond the upper end of the sweep, -1 beyond the
        lower, else 0.
    """

    reason: FocusReason
    message: str
    remedy: str
    towards: int = 0


DEFAULT_SETTINGS = FocusSettings()


def three_point_peak(z_mm: ArrayLike, values: ArrayLike) -> tuple[float, float] | None:
    """Return peak and width of the Gaussian through three points.

    Parameters
    ----------
    z_mm, values
        Shape (3,); heights distinct, values positive.

    Returns
    -------
    tuple of float or None
        Height of the peak and standard deviation; None when the points bend the
        other way, so that no Gaussian passes through them.

    Raises
    ------
    ValueError
        When there are not three distinct heights with positive values.

    References
    ----------
    Nayar & Nakagawa 1994, IEEE PAMI 16, 824-831; written here for any spacing: the
    logarithm of a Gaussian is a parabola.

    Examples
    --------
    >>> peak, width = three_point_peak([0.0, 1.0, 2.0], [50.0, 100.0, 80.0])
    >>> round(peak, 7), round(width, 7)
    (1.2564708, 1.0446802)
    """
    z = np.asarray(z_mm, dtype=np.float64)
    f = np.asarray(values, dtype=np.float64)
    if z.shape != (3,) or f.shape != (3,) or len(set(z.tolist())) != 3:
        raise ValueError("z_mm must hold three distinct heights, and values three numbers")
    if not bool(np.all(f > 0.0)):
        raise ValueError("values must be positive")
    logs = np.log(f)
    before, after = np.diff(logs) / np.diff(z)
    bend = (after - before) / (z[2] - z[0])
    if not bend < 0.0:
        return None
    peak = (z[0] + z[1]) / 2.0 - before / (2.0 * bend)
    return float(peak), math.sqrt(-0.5 / float(bend))


def focus_peak(
    z_mm: ArrayLike, values: ArrayLike, *, settings: FocusSettings = DEFAULT_SETTINGS
) -> FocusPeak | FocusRefusal:
    """Find the height at which the picture is sharpest by a fit of the whole sweep.

    Parameters
    ----------
    z_mm
        Shape (N,): machine heights, in any order.
    values
        Shape (N,): sharpness at each.
    settings
        The curve and the limits.

    Returns
    -------
    FocusPeak or FocusRefusal
        The refusal says what is wrong with the sweep and what to do about it.

    Raises
    ------
    ValueError
        When the two differ in shape.
    """
    z = np.asarray(z_mm, dtype=np.float64)
    f = np.asarray(values, dtype=np.float64)
    if z.ndim != 1 or z.shape != f.shape:
        raise ValueError(f"z_mm and values must be rows of one length, got {z.shape}, {f.shape}")
    refusal = _unfit(z, f, settings)
    if refusal is not None:
        return refusal
    order = np.argsort(z, kind="stable")
    return _judged(z[order], f[order], settings)


def _judged(z: Array, f: Array, settings: FocusSettings) -> FocusPeak | FocusRefusal:
    fit = _fit(z, f, settings)
    if fit is None or _by_chance(f, fit) > settings.noise_level:
        # A rising or falling curve has a clear end, however badly a peak fits it.
        return _flat() if _is_noise(z, f) else (_beyond(z, f, None) or _no_peak())
    beyond = _beyond(z, f, fit)
    if beyond is not None:
        return beyond
    step = float(np.median(np.diff(np.unique(z))))
    unsure = fit.sigma_mm > settings.largest_u_share * (z[-1] - z[0])
    return _no_peak() if unsure or fit.width_mm < settings.least_width_steps * step else fit


def _by_chance(f: Array, fit: FocusPeak) -> float:
    """Return the probability that a level with noise is fitted as well (F-test)."""
    left = fit.residual**2 * fit.dof
    if left == 0.0:
        return 0.0
    gained = float(np.sum((f - f.mean()) ** 2)) - left
    spent = len(f) - 1 - fit.dof
    return float(f_distribution.sf(gained / spent / (left / fit.dof), spent, fit.dof))


def _unfit(z: Array, f: Array, settings: FocusSettings) -> FocusRefusal | None:
    if not (bool(np.isfinite(z).all()) and bool(np.isfinite(f).all())):
        return FocusRefusal(
            reason=FocusReason.NOT_FINITE,
            message="the sweep holds a number that is not finite",
            remedy="take the sweep again",
        )
    heights = len(np.unique(z))
    if heights < settings.least_heights:
        return FocusRefusal(
            reason=FocusReason.TOO_FEW,
            message=f"{heights} heights do not give a focus: at least "
            f"{settings.least_heights} are needed",
            remedy="sweep over some eleven heights, 0.05 to 0.1 mm apart, about the focus",
        )
    return _flat() if float(np.ptp(f)) == 0.0 else None


def _flat() -> FocusRefusal:
    return FocusRefusal(
        reason=FocusReason.FLAT,
        message="the picture is equally sharp at all heights",
        remedy="see that the tip is in view and lit, and sweep over a wider range",
    )


def _no_peak() -> FocusRefusal:
    return FocusRefusal(
        reason=FocusReason.NO_PEAK,
        message="sharpness over height has no single clear peak",
        remedy="lock the exposure, wait after each move until the picture is still, and take "
        "the sweep again with more heights",
    )


def _is_noise(z: Array, f: Array) -> bool:
    """Whether neighbours have no more in common than any two values (von Neumann's ratio)."""
    ratio = float(np.sum(np.diff(f) ** 2) / np.sum((f - f.mean()) ** 2))
    # Mean 2, standard deviation about 2 / sqrt(N) for noise; near 0 for any curve.
    return ratio > 2.0 - 4.0 / math.sqrt(len(z))


def _beyond(z: Array, f: Array, fit: FocusPeak | None) -> FocusRefusal | None:
    top = float(z[int(np.argmax(f))])
    peak = top if fit is None else fit.z_mm
    inner = float(z[z > z[0]][0]), float(z[z < z[-1]][-1])
    # One flank alone gives a peak that hangs on the curve's shape.
    high = peak > inner[1] or top == z[-1]
    low = peak < inner[0] or top == z[0]
    if high == low:
        return None
    side, towards = ("upper", 1) if high else ("lower", -1)
    return FocusRefusal(
        reason=FocusReason.AT_END,
        message=f"the picture grows sharper up to the {side} end of the sweep",
        remedy=f"shift the sweep so that its {side} end lies further "
        f"{'up' if high else 'down'}, and take it again",
        towards=towards,
    )


def _curve(shape: PeakShape, at: Array) -> tuple[Array, Array]:
    """Return the curve of unit height and width, and its derivative."""
    if shape is PeakShape.GAUSS:
        value = np.exp(-0.5 * at**2)
        return value, -at * value
    value = 1.0 / (1.0 + at**2)
    return value, -2.0 * at * value**2


def _start(z: Array, f: Array, base: float) -> tuple[float, float]:
    """Return peak and width of the Gaussian through the highest point and its neighbours."""
    heights = np.unique(z)
    means = np.array([f[z == height].mean() for height in heights]) - base
    top = min(max(int(np.argmax(means)), 1), len(heights) - 2)
    three = slice(top - 1, top + 2)
    span = float(heights[-1] - heights[0])
    fallback = float(heights[top]), span / 4.0
    if not bool(np.all(means[three] > 0.0)):
        return fallback
    found = three_point_peak(heights[three], means[three])
    if found is None or not heights[0] <= found[0] <= heights[-1] or found[1] > span:
        return fallback
    return found


def _fit(z: Array, f: Array, settings: FocusSettings) -> FocusPeak | None:
    """Fit peak, width, height and, unless it is given, base; in units of the sweep."""
    span, rise = float(z[-1] - z[0]), float(np.ptp(f))
    middle = float(z.mean())
    base = float(f.min()) if settings.base is None else settings.base
    fixed = 0.0 if settings.base is None else base
    peak, width = _start(z, f, base - 0.05 * rise)
    at, y = (z - middle) / span, (f - fixed) / rise

    def parts(p: Array) -> tuple[Array, Array, Array]:
        offset = (at - p[0]) * math.exp(-p[1])
        return offset, *_curve(settings.shape, offset)

    def miss(p: Array) -> Array:
        floor = float(p[3]) if len(p) == 4 else 0.0
        return float(p[2]) * parts(p)[1] + floor - y

    def slope(p: Array) -> Array:
        offset, value, derivative = parts(p)
        columns = [-p[2] * derivative * math.exp(-p[1]), -p[2] * derivative * offset, value]
        return np.column_stack([*columns, np.ones_like(value)][: len(p)])

    start = [(peak - middle) / span, math.log(width / span), (float(f.max()) - base) / rise]
    if settings.base is None:
        start.append(base / rise)
    found = least_squares(
        miss,
        start,
        jac=slope,
        bounds=_bounds(len(start)),
        xtol=1e-12,
        ftol=1e-12,
        gtol=1e-12,
        max_nfev=100,  # a curve converges in ten to twenty, noise never does
    )
    dof = len(z) - len(start)
    variance = 2.0 * float(found.cost) / dof
    J = np.asarray(slope(found.x), dtype=np.float64)
    if not found.success or np.linalg.cond(J) > 1e8:
        return None
    spread = np.linalg.inv(J.T @ J) * variance
    return FocusPeak(
        z_mm=middle + span * float(found.x[0]),
        sigma_mm=span * math.sqrt(float(spread[0, 0])),
        dof=dof,
        width_mm=span * math.exp(float(found.x[1])),
        height=rise * float(found.x[2]),
        base=rise * float(found.x[3]) if settings.base is None else base,
        residual=rise * math.sqrt(variance),
    )


def _bounds(count: int) -> tuple[list[float], list[float]]:
    """Keep the peak within two sweeps, its width within a hundredth and ten, height positive."""
    low = [-2.0, math.log(1e-2), 0.0, -math.inf]
    high = [2.0, math.log(10.0), math.inf, math.inf]
    return low[:count], high[:count]
