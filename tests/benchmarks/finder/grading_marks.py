"""What the finder and its rivals make of one picture of the grading set."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from tests.benchmarks.finder.case import Case
from tests.benchmarks.finder.grading import dirty, look_alike, unusable
from tests.benchmarks.finder.grading_draft import LARGEST_RADIUS_PX, SMALLEST_RADIUS_PX, Rng
from tests.benchmarks.finder.report import ROOT
from tests.benchmarks.finder.rivals import RIVALS
from vision.bore import BoreFit, RadiusPrior, find_bore

PRIOR_WITHIN = 0.05
"""The radius that is given is true within this part."""

_PRIORS = 7104


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One accepted centre.

    Attributes
    ----------
    error_px
        Distance from the truth; NaN where there is none.
    within_two_sigma
        For u and v, whether the error lies within two of the stated standard deviations.
    size_verified
        As the finder says.
    """

    error_px: float
    within_two_sigma: tuple[bool, bool]
    size_verified: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """What came of one picture.

    Attributes
    ----------
    sized, unsized
        The finder's answer with and without a radius prior; None is a refusal. The prior of a
        look-alike contradicts it.
    rival_errors_px
        Distance from the truth, by rival; None where it gave no answer. Dirty pictures only.
    """

    seed: int
    kind: str
    sized: Answer | None
    unsized: Answer | None
    rival_errors_px: tuple[float | None, ...] = ()


def mark_dirty(seed: int) -> Mark:
    case = dirty(seed)
    radius_px = _believed_radius_px(case, _prior_stream(0, seed))
    return Mark(
        seed=seed,
        kind=case.kind,
        sized=_answer(case, radius_px),
        unsized=_answer(case, None),
        rival_errors_px=_rival_errors(case, radius_px),
    )


def mark_unusable(seed: int) -> Mark:
    case = unusable(seed)
    return _mark(case, seed, _believed_radius_px(case, _prior_stream(1, seed)))


def mark_look_alike(seed: int) -> Mark:
    """Give the finder a radius of half to three quarters, or of 1.35 to 2 times the true one."""
    case, rng = look_alike(seed), _prior_stream(2, seed)
    factor = rng.uniform(0.5, 0.75) if rng.random() < 0.5 else rng.uniform(1.35, 2.0)
    if case.radius_px is None:
        raise ValueError(f"a look-alike must say how large it is, got {case.kind!r}")
    return _mark(case, seed, factor * case.radius_px)


def mark_rendered(entry: int) -> Mark:
    """Mark one of the sample frames; `kind` is "usable" or "unusable"."""
    case = rendered_cases()[entry]
    return _mark(case, entry, _believed_radius_px(case, _prior_stream(3, entry)))


def rendered_cases() -> list[Case]:
    """Return the sample frames, which another renderer drew."""
    folder = ROOT / "sample_frames"
    said = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    return [_rendered(folder, entry) for entry in said["frames"]]


def _rendered(folder: Path, entry: dict[str, object]) -> Case:
    frame = cv2.imread(str(folder / str(entry["file"])), cv2.IMREAD_COLOR)
    if frame is None:
        raise FileNotFoundError(f"{entry['file']} is named in truth.json and cannot be read")
    usable = bool(entry["usable"])
    centre, radius = entry["centre_px"], entry.get("radius_px")
    place = (float(centre[0]), float(centre[1])) if isinstance(centre, list) else None
    return Case(
        frame=np.asarray(frame, dtype=np.uint8),
        centre_px=place if usable else None,
        radius_px=float(radius) if isinstance(radius, int | float) else None,
        kind="usable" if usable else "unusable",
        conditions=(str(entry["file"]),),
    )


def _mark(case: Case, seed: int, radius_px: float) -> Mark:
    return Mark(
        seed=seed, kind=case.kind, sized=_answer(case, radius_px), unsized=_answer(case, None)
    )


def _prior_stream(which: int, seed: int) -> Rng:
    return np.random.default_rng((_PRIORS, which, seed))


def _believed_radius_px(case: Case, rng: Rng) -> float:
    """Return what is believed of the radius: true within 5 %, any where nothing is round."""
    anything = math.exp(rng.uniform(math.log(SMALLEST_RADIUS_PX), math.log(LARGEST_RADIUS_PX)))
    true = anything if case.radius_px is None else case.radius_px
    return true * rng.uniform(1.0 - PRIOR_WITHIN, 1.0 + PRIOR_WITHIN)


def _answer(case: Case, radius_px: float | None) -> Answer | None:
    prior = None if radius_px is None else RadiusPrior(radius_px=radius_px)
    found = find_bore(case.frame, radius_prior=prior)
    if not isinstance(found, BoreFit):
        return None
    if case.centre_px is None:
        return Answer(
            error_px=math.nan, within_two_sigma=(False, False), size_verified=found.size_verified
        )
    off = found.centre_px.u - case.centre_px[0], found.centre_px.v - case.centre_px[1]
    sigmas = math.sqrt(found.cov_px2.uu), math.sqrt(found.cov_px2.vv)
    return Answer(
        error_px=math.hypot(*off),
        within_two_sigma=(abs(off[0]) <= 2.0 * sigmas[0], abs(off[1]) <= 2.0 * sigmas[1]),
        size_verified=found.size_verified,
    )


def _rival_errors(case: Case, radius_px: float) -> tuple[float | None, ...]:
    if case.centre_px is None:
        raise ValueError(f"a dirty picture must have a bore, got {case.kind!r}")
    places = [rival(case.frame, radius_px) for rival in RIVALS.values()]
    u, v = case.centre_px
    return tuple(None if p is None else math.hypot(p.u - u, p.v - v) for p in places)
