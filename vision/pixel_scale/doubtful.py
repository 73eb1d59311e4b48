"""Name the entry that disagrees with the picture.

Each jog is left out in turn. Where the others then agree among themselves and
the one left out misses them by far, it explains the misfit. All explanations
are compared, since with few or symmetric jogs several serve as well: opposite
arms of a cross, and opposite corners of a square with its centre, cannot be told
apart; five jogs on a pentagon can.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.geometry import PointMm
from vision.pixel_scale.affine import (
    AffineFit,
    Jogs,
    entry_covariance,
    entry_design,
    extents,
    fit_affine,
)
from vision.pixel_scale.slips import recognise
from vision.pixel_scale.values import Axis, DoubtfulEntry, ScaleSettings, Slip
from vision.uncertainty import SingularDesign

Matrix = NDArray[np.float64]

_FREE = {Axis.X: 1, Axis.Y: 1, Axis.BOTH: 2}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Explanation:
    """One coordinate, or both, of one entry being wrong."""

    index: int
    axis: Axis
    shift_mm: Matrix
    sigma_mm: float
    significance: float
    chi2: float
    dof: int
    others_um: float

    @property
    def scatter(self) -> float:
        """How many times as much as stated the rest scatters, at least 1."""
        return math.sqrt(max(1.0, self.chi2 / self.dof))

    def score(self, price: float) -> float:
        """Misfit that is left, each free coordinate at a price."""
        return self.chi2 + price * _FREE[self.axis]


def find_doubtful(jogs: Jogs, settings: ScaleSettings, decimals: int) -> tuple[DoubtfulEntry, ...]:
    """Return the entries one of which explains the misfit, most likely first.

    `decimals` are the places of the display, for the hint at the slip.

    Empty when nothing is far off, when nothing single explains it, and below four
    jogs, where nothing could tell.
    """
    if len(jogs) < 4:
        return ()
    good = [one for one in _explanations(jogs, settings) if _serves(one, settings)]
    if not good:
        return ()
    price = settings.rival_margin
    best = min(good, key=lambda one: one.score(price))
    limit = best.score(price) + settings.rival_margin * best.scatter**2
    chosen: dict[int, _Explanation] = {}
    for one in sorted(good, key=lambda one: one.score(price)):
        if one.score(price) < limit:
            chosen.setdefault(one.index, one)
    named = [_entry(jogs, one, decimals) for one in chosen.values()]
    # Among equals, an entry that looks like a slip of the hand comes first.
    return tuple(sorted(named, key=lambda entry: entry.slip in (None, Slip.NOT_DONE)))


def _serves(one: _Explanation, settings: ScaleSettings) -> bool:
    far = 1e3 * float(np.linalg.norm(one.shift_mm)) >= settings.doubtful_least_um
    clear = one.significance >= settings.doubtful_sigmas * one.scatter
    return far and clear and one.scatter <= settings.others_scatter_limit


def _explanations(jogs: Jogs, settings: ScaleSettings) -> Iterator[_Explanation]:
    for index in range(len(jogs)):
        rest = jogs.without(index)
        long, short = extents(rest.positions_mm)
        # What the others do not determine they cannot judge.
        if short < settings.collinear_ratio / 2.0 * long or long == 0.0:
            continue
        fit = fit_affine(rest)
        if not isinstance(fit, SingularDesign) and _is_regular(fit):
            yield from _about(jogs, index, fit)


def _is_regular(fit: AffineFit) -> bool:
    return float(np.linalg.cond(fit.matrix)) < 1e3


def _about(jogs: Jogs, index: int, fit: AffineFit) -> Iterator[_Explanation]:
    """Yield what would have to be changed in this entry, by the fit of all others."""
    offset = jogs.positions_mm[index] - fit.origin_mm
    inverse = np.linalg.inv(fit.matrix)
    shift = inverse @ (jogs.centres_px[index] - fit.origin_px) - offset
    # The scale's doubt counts at the place where the bore really is.
    rows = entry_design(offset + shift)
    spread = entry_covariance(jogs, index, fit.matrix) + rows @ fit.covariance @ rows.T
    S = inverse @ spread @ inverse.T
    others = math.sqrt(float(np.mean(np.sum(fit.residuals_um() ** 2, axis=1))))
    for axis, free, held in ((Axis.X, 0, 1), (Axis.Y, 1, 0)):
        step = np.zeros(2)
        step[free] = shift[free] - S[free, held] / S[held, held] * shift[held]
        sigma = math.sqrt(S[free, free] - S[free, held] ** 2 / S[held, held])
        yield _Explanation(
            index=index,
            axis=axis,
            shift_mm=step,
            sigma_mm=sigma,
            significance=abs(float(step[free])) / sigma,
            chi2=fit.chi2 + float(shift[held]) ** 2 / float(S[held, held]),
            dof=fit.dof + 1,
            others_um=others,
        )
    if fit.dof >= 2:
        yield _Explanation(
            index=index,
            axis=Axis.BOTH,
            shift_mm=shift,
            sigma_mm=math.sqrt(float(np.max(np.diag(S)))),
            significance=math.sqrt(float(shift @ np.linalg.solve(S, shift))),
            chi2=fit.chi2,
            dof=fit.dof,
            others_um=others,
        )


def _entry(jogs: Jogs, one: _Explanation, decimals: int) -> DoubtfulEntry:
    position, read = jogs.positions_mm[one.index], jogs.read_mm[one.index]
    suggested = position + one.shift_mm
    return DoubtfulEntry(
        index=one.index,
        axis=one.axis,
        read_mm=PointMm(float(position[0]), float(position[1])),
        suggested_mm=PointMm(float(suggested[0]), float(suggested[1])),
        sigma_um=1e3 * one.sigma_mm,
        others_agree_um=one.others_um,
        slip=recognise(
            read,
            read + one.shift_mm,
            jogs.read_mm[one.index - 1] if one.index else None,
            axis=one.axis,
            sigma_mm=one.sigma_mm * one.scatter,
            decimals=decimals,
        ),
    )
