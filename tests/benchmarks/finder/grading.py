"""The grading set: dirty pictures, unusable ones and look-alikes, by number, with exact truth.

Nobody may tune the finder on these pictures: they are drawn by other code, with other
choices, than the ones it is tuned on, and serve to say how good it has become.

A dirty picture counts as usable if a person could say where the rim is. What makes it so is
checked, not hoped for: a draft whose rim shows on less than `RIM_SHOWN` of its length is drawn
anew from the same stream of numbers (`rim_shown`). The check asks the picture for a step at the
true rim and nothing else; it shares no code with any finder.
"""

from __future__ import annotations

import numpy as np

from tests.benchmarks.finder.case import Case
from tests.benchmarks.finder.grading_dirt import DIRT, MILD
from tests.benchmarks.finder.grading_draft import Rng, case_of, plain_draft
from tests.benchmarks.finder.grading_round import LOOK_ALIKES
from tests.benchmarks.finder.grading_unusable import UNUSABLE
from tests.benchmarks.finder.grading_visible import rim_shown

RIM_SHOWN = 0.62
"""Least share of the rim that must show; a drop over a third leaves 0.67 at most."""

DIRTY_KINDS = tuple(DIRT)
UNUSABLE_KINDS = tuple(UNUSABLE)
LOOK_ALIKE_KINDS = tuple(LOOK_ALIKES)
_DIRTY, _UNUSABLE, _LOOK_ALIKE = 7101, 7102, 7103
_TRIES = 40


def dirty(seed: int) -> Case:
    """Return a usable picture of a dirty tip; eighteen seeds in a row hold each kind once."""
    rng = _stream(_DIRTY, seed)
    kind = DIRTY_KINDS[seed % len(DIRTY_KINDS)]
    for _ in range(_TRIES):
        case, shown = _dirty(kind, rng)
        if shown >= RIM_SHOWN:
            return case
    raise RuntimeError(f"no usable picture of kind {kind!r} came of seed {seed}")


def unusable(seed: int) -> Case:
    """Return a picture in which no bore should be found; nine seeds in a row hold each kind."""
    kind = UNUSABLE_KINDS[seed % len(UNUSABLE_KINDS)]
    return UNUSABLE[kind](kind, _stream(_UNUSABLE, seed))


def look_alike(seed: int) -> Case:
    """Return a picture of a round thing that is no nozzle; five seeds hold each kind once."""
    kind = LOOK_ALIKE_KINDS[seed % len(LOOK_ALIKE_KINDS)]
    return LOOK_ALIKES[kind](kind, _stream(_LOOK_ALIKE, seed))


def _dirty(kind: str, rng: Rng) -> tuple[Case, float]:
    """Return one try, and how much of its rim shows.

    Two in five have a mild fault on top, one in five a second kind of dirt.
    """
    draft, chance = plain_draft(rng), rng.random()
    more: list[str] = []
    if chance < 0.6:
        others = MILD if chance < 0.4 else {k: d for k, d in DIRT.items() if k != kind}
        more = [list(others)[rng.integers(len(others))]]
        draft = others[more[0]](draft, rng)
    draft = DIRT[kind](draft, rng)
    case = case_of(draft, kind, rng, bore=True, more=more)
    return case, rim_shown(case.frame, draft.plane)


def _stream(set_number: int, seed: int) -> Rng:
    return np.random.default_rng((set_number, seed))
