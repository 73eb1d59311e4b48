"""Whether the bore finder's errors are as large as it says, on pictures it was not made on.

Every picture of sample_frames/crops is shown to it twice, without and with a radius prior, and
its errors are set against the sigma it states for them. Not collected by pytest. Nobody tunes
the finder on these pictures: look at the totals, not at single ones.

    python -m tests.benchmarks.bench_sigma
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.finder.report import ROOT, Report, keep_to_one_thread
from vision.bore import BoreFit, RadiusPrior, find_bore

Array = NDArray[np.float64]

CROPS = ROOT / "sample_frames" / "crops"
PRIOR_OFF = 0.05
"""A nozzle's nominal bore and the pixel scale together are off by no more (common practice, no
source)."""

NORMAL = (0.683, 0.954, 0.997)
"""Share of a normal error within 1, 2 and 3 sigma."""

FEWEST = 20
"""A group with fewer accepted pictures is not called the worst: chance alone would choose it."""

MISTAKEN = 0.3
"""An error of more than this part of the rim's radius is another thing taken for the bore."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """What the finder said of one picture, against its truth.

    Attributes
    ----------
    file, conditions
        Which picture, and the words for what was drawn by chance.
    rim_radius_px
        Its true size.
    error_px, sigma_px
        Per axis (u, v); None where the finder refused.
    reason
        Why it refused; None where it did not.
    """

    file: str
    conditions: tuple[str, ...]
    rim_radius_px: float
    error_px: tuple[float, float] | None
    sigma_px: tuple[float, float] | None
    reason: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """Errors and their sigma, shape (N, 2), of the accepted ones among `shown` pictures."""

    shown: int
    errors_px: Array
    sigmas_px: Array

    @property
    def within(self) -> tuple[float, float, float]:
        """Share of |error| within 1, 2 and 3 sigma, both axes counted."""
        ratio = np.abs(self.errors_px) / self.sigmas_px
        one, two, three = (float(np.mean(ratio <= k)) if ratio.size else np.nan for k in (1, 2, 3))
        return one, two, three

    @property
    def distances_px(self) -> Array:
        """Distance between found and true centre, shape (N,)."""
        return np.asarray(np.hypot(*self.errors_px.T))


def main() -> None:
    """Grade all pictures and write the page docs/grades/sigma.md."""
    seed = _seed()
    keep_to_one_thread()
    truth = json.loads((CROPS / "truth.json").read_text(encoding="utf-8"))["crops"]
    report = Report(
        "sigma",
        "Whether errors are as large as the finder says",
        seed=seed,
        samples=f"{len(truth)} rendered pictures",
    )
    tell(report, marked(truth, seed))
    report.finish()


def marked(truth: Sequence[dict[str, Any]], seed: int) -> dict[str, list[Mark]]:
    """Show all pictures without and with a radius prior; return the marks by name of the run."""
    factors = 1.0 + np.random.default_rng(seed).uniform(-PRIOR_OFF, PRIOR_OFF, len(truth))
    priors = [
        RadiusPrior(radius_px=float(entry["rim_radius_px"] * factor))
        for entry, factor in zip(truth, factors, strict=True)
    ]
    return {
        "without radius prior": [_mark(entry, None) for entry in truth],
        "with radius prior": [_mark(e, prior) for e, prior in zip(truth, priors, strict=True)],
    }


def tell(report: Report, marks: dict[str, list[Mark]]) -> None:
    """Put all tables into the report; `marks` by name of the run."""
    _totals(report, marks)
    _refusals(report, marks)
    for name, some in marks.items():
        _groups(report, name, some)
    for name, some in marks.items():
        _worst_pictures(report, name, some)


def _mark(entry: dict[str, Any], prior: RadiusPrior | None) -> Mark:
    frame = cv2.imread(str(CROPS / entry["file"]), cv2.IMREAD_COLOR)
    if frame is None:
        raise FileNotFoundError(CROPS / entry["file"])
    fit = find_bore(np.asarray(frame, dtype=np.uint8), radius_prior=prior)
    error = sigma = reason = None
    if isinstance(fit, BoreFit):
        u, v = np.subtract(fit.centre_px, entry["centre_px"])
        error = (float(u), float(v))
        sigma = (float(np.sqrt(fit.cov_px2.uu)), float(np.sqrt(fit.cov_px2.vv)))
    else:
        reason = fit.reason.value
    return Mark(
        file=entry["file"],
        conditions=tuple(entry["conditions"]),
        rim_radius_px=entry["rim_radius_px"],
        error_px=error,
        sigma_px=sigma,
        reason=reason,
    )


def figures(marks: Iterable[Mark]) -> Figures:
    """Return the figures of some pictures."""
    some = list(marks)
    errors = [mark.error_px for mark in some if mark.error_px is not None]
    sigmas = [mark.sigma_px for mark in some if mark.sigma_px is not None]
    return Figures(
        shown=len(some),
        errors_px=np.array(errors, dtype=np.float64).reshape(-1, 2),
        sigmas_px=np.array(sigmas, dtype=np.float64).reshape(-1, 2),
    )


def groups(marks: Sequence[Mark]) -> dict[str, Figures]:
    """Return the figures of all pictures that share a condition, by condition."""
    names = sorted({condition for mark in marks for condition in mark.conditions})
    return {name: figures(mark for mark in marks if name in mark.conditions) for name in names}


def worst_group(of: dict[str, Figures]) -> str | None:
    """Return the condition with the smallest share within 2 sigma, where enough was accepted."""
    enough = {name: some for name, some in of.items() if len(some.errors_px) >= FEWEST}
    return min(enough, key=lambda name: enough[name].within[1], default=None)


def _totals(report: Report, marks: dict[str, list[Mark]]) -> None:
    rows: list[tuple[object, ...]] = []
    for name, some in marks.items():
        all_of_it = figures(some)
        accepted = f"{_percent(len(all_of_it.errors_px) / max(all_of_it.shown, 1))} %"
        mistaken = sum(_mistaken(mark) for mark in some)
        rows.append(
            (name, "both", accepted, *_shares(all_of_it), *_sizes(all_of_it.distances_px), mistaken)
        )
        for axis, letter in enumerate("uv"):
            one = Figures(
                shown=all_of_it.shown,
                errors_px=all_of_it.errors_px[:, axis : axis + 1],
                sigmas_px=all_of_it.sigmas_px[:, axis : axis + 1],
            )
            rows.append(("", letter, "", *_shares(one), *_sizes(np.abs(one.errors_px.ravel())), ""))
    normal = ", ".join(f"{100 * share:.1f} %" for share in NORMAL)
    note = (
        f"Normal errors of the stated sigma would give {normal}. Every picture is usable. "
        "Errors: of both axes the distance to the true centre, of one axis its |error|. Mistaken: "
        f"accepted with an error of more than {MISTAKEN:g} of the rim's radius. The prior is the "
        f"true radius of the rim times a factor within {100 * PRIOR_OFF:g} % of one."
    )
    header = ("run", "axis", "accepted", *SHARES, *SIZES, "mistaken")
    report.table("All pictures", header, rows, note=note)


def _refusals(report: Report, marks: dict[str, list[Mark]]) -> None:
    counts = {name: Counter(mark.reason for mark in some) for name, some in marks.items()}
    reasons = sorted({reason for count in counts.values() for reason in count if reason})
    rows = [(reason, *(count[reason] for count in counts.values())) for reason in reasons]
    report.table("Refused, though usable", ("reason", *counts), rows)


def _groups(report: Report, name: str, marks: Sequence[Mark]) -> None:
    of = groups(marks)
    rows = [
        (
            condition,
            some.shown,
            f"{_percent(len(some.errors_px) / some.shown)} %",
            *_shares(some),
            *_sizes(some.distances_px),
        )
        for condition, some in of.items()
    ]
    worst = worst_group(of)
    note = f"No group has {FEWEST} accepted pictures."
    if worst is not None:
        share, errors = of[worst].within[1], of[worst].errors_px.size
        # Were the two axes of a picture not independent, it would be a little more.
        chance = np.sqrt(max(share * (1.0 - share), 0.25 / errors) / errors)
        note = (
            f"Worst group at 2 sigma: {worst}, {_percent(share)} % of {errors} errors, by chance "
            f"uncertain by {_percent(float(chance))} % (one sigma)."
        )
    header = ("group", "pictures", "accepted", *SHARES, *SIZES)
    report.table(f"Groups, {name}", header, rows, note=note)


def _worst_pictures(report: Report, name: str, marks: Sequence[Mark]) -> None:
    accepted = [mark for mark in marks if mark.error_px is not None]
    worst = sorted(accepted, key=_off, reverse=True)[:10]
    rows = [
        (
            mark.file,
            _pair(mark.error_px),
            _pair(mark.sigma_px),
            f"{_off(mark):.1f}",
            "; ".join(mark.conditions),
        )
        for mark in worst
    ]
    note = "By |error| / sigma of the worse axis."
    header = ("file", "error u, v px", "sigma u, v px", "in sigmas", "conditions")
    report.table(f"The ten worst pictures, {name}", header, rows, note=note)


SHARES = ("in 1 sigma", "in 2 sigma", "in 3 sigma")
SIZES = ("median px", "90 % px", "95 % px", "max px")

_SIZES: tuple[Callable[[Array], float], ...] = (
    lambda of: float(np.median(of)),
    lambda of: float(np.quantile(of, 0.9)),
    lambda of: float(np.quantile(of, 0.95)),
    lambda of: float(np.max(of)),
)


def _shares(of: Figures) -> tuple[str, ...]:
    return tuple(f"{_percent(share)} %" if of.errors_px.size else "" for share in of.within)


def _sizes(errors_px: Array) -> tuple[str, ...]:
    return tuple(f"{size(errors_px):.3f}" if errors_px.size else "" for size in _SIZES)


def _off(mark: Mark) -> float:
    if mark.error_px is None or mark.sigma_px is None:
        return 0.0
    return float(np.max(np.abs(mark.error_px) / np.asarray(mark.sigma_px)))


def _mistaken(mark: Mark) -> bool:
    if mark.error_px is None:
        return False
    return bool(np.hypot(*mark.error_px) > MISTAKEN * mark.rim_radius_px)


def _pair(values: tuple[float, float] | None) -> str:
    return "" if values is None else f"{values[0]:.3f}, {values[1]:.3f}"


def _percent(share: float) -> str:
    return f"{100.0 * share:.1f}"


def _seed() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seed", type=int, default=1, help="of the radius priors (1)")
    return int(parser.parse_args().seed)


if __name__ == "__main__":
    main()
