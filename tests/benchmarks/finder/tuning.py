"""Run the finder over the tuning pictures, and say which single pictures went wrong.

Not collected by pytest. A picture is drawn again by its seed alone, for instance

    python tests/benchmarks/finder/tuning.py --seed 117 --dirty 1 --unusable 0 --save FOLDER
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import count, islice
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[3]))

from tests.benchmarks.finder import painter
from tests.benchmarks.finder.case import Case
from vision.bore import BoreFit, BoreRefusal, RadiusPrior, find_bore

Draw = Callable[[int], Case]
FAR_PX = 1.0
PRIOR_OFF = 0.1
"""A prior's radius is wrong by up to this part."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One picture and what the finder made of it."""

    case: Case
    seed: int
    answer: BoreFit | BoreRefusal
    took_ms: float

    @property
    def accepted(self) -> bool:
        return isinstance(self.answer, BoreFit)

    @property
    def error_px(self) -> tuple[float, float]:
        """How far off an accepted centre is, along u and v."""
        if not isinstance(self.answer, BoreFit) or self.case.centre_px is None:
            return np.nan, np.nan
        found, true = self.answer.centre_px, self.case.centre_px
        return found.u - true[0], found.v - true[1]

    @property
    def distance_px(self) -> float:
        return float(np.hypot(*self.error_px))

    @property
    def within(self) -> int:
        """Count the axes, of two, on which the error is within two sigma."""
        if not isinstance(self.answer, BoreFit):
            return 0
        cov = self.answer.cov_px2
        sigma = np.sqrt([cov.uu, cov.vv])
        return int((np.abs(self.error_px) <= 2 * sigma).sum())


def main() -> None:
    """Print the tables."""
    wanted = _arguments()
    _check_kind(wanted.kind)
    cv2.setNumThreads(1)
    start = time.perf_counter()
    usable = _run(painter.dirty, painter.KINDS, wanted.dirty, wanted)
    rest = _run(painter.unusable, painter.UNUSABLE_KINDS, wanted.unusable, wanted)
    alike = _run(painter.look_alike, painter.LOOK_ALIKE_KINDS, wanted.look_alikes, wanted)
    if usable:
        print(f"dirty, {'with' if wanted.prior else 'no'} radius prior\n")
        _print_usable(usable)
    if rest:
        print("\nunusable: accepted in error\n")
        _print_unusable(rest)
    if alike:
        known = ", prior of a nozzle of another size" if wanted.prior else ", no prior"
        print(f"\nlook-alikes: accepted{known}\n")
        _print_unusable(alike)
    _print_worst(usable, [*rest, *alike], wanted.worst)
    if wanted.save is not None:
        _save(usable, [*rest, *alike], wanted.worst, wanted.save)
    print(f"\n{time.perf_counter() - start:.0f} s in all")


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--dirty", type=int, default=300, help="usable pictures")
    parser.add_argument("--unusable", type=int, default=200, help="pictures without a bore")
    parser.add_argument("--look-alikes", type=int, default=0, help="round things, no nozzles")
    parser.add_argument("--seed", type=int, default=1, help="seed of the first picture")
    parser.add_argument("--kind", default="", help="only kinds with this word in their name")
    parser.add_argument("--prior", action="store_true", help="give the radius within 10 %%")
    parser.add_argument("--worst", type=int, default=12, help="pictures to list")
    parser.add_argument("--save", type=Path, help="folder for PNGs of those, truth marked")
    return parser.parse_args()


def _check_kind(word: str) -> None:
    kinds = (*painter.KINDS, *painter.UNUSABLE_KINDS, *painter.LOOK_ALIKE_KINDS)
    if not any(word in kind for kind in kinds):
        sys.exit(f"no kind has {word!r} in its name; there are: {', '.join(kinds)}")


def _run(draw: Draw, kinds: tuple[str, ...], number: int, wanted: argparse.Namespace) -> list[Seen]:
    seeds = _seeds(kinds, wanted.kind, wanted.seed)
    return [_look(draw(seed), seed, wanted.prior) for seed in islice(seeds, number)]


def _seeds(kinds: tuple[str, ...], word: str, first: int) -> Iterator[int]:
    """Yield the seeds of the kinds that are wanted; the kinds take turns."""
    if not any(word in kind for kind in kinds):
        return iter(())
    return (seed for seed in count(first) if word in kinds[seed % len(kinds)])


def _look(case: Case, seed: int, with_prior: bool) -> Seen:
    prior = _prior(case, seed) if with_prior else None
    start = time.thread_time()
    answer = find_bore(case.frame, radius_prior=prior)
    took_ms = 1e3 * (time.thread_time() - start)
    return Seen(case=case, seed=seed, answer=answer, took_ms=took_ms)


def _prior(case: Case, seed: int) -> RadiusPrior:
    """Return the radius about right for a bore, and of another size for what is none."""
    rng = np.random.default_rng((4, seed))
    if case.centre_px is not None and case.radius_px is not None:
        radius = case.radius_px * (1.0 + rng.uniform(-PRIOR_OFF, PRIOR_OFF))
    elif case.radius_px is not None:
        radius = case.radius_px * float(rng.choice([0.5, 0.65, 1.5, 2.0]))
    else:
        radius = float(np.exp(rng.uniform(np.log(11), np.log(70))))
    return RadiusPrior(radius_px=radius)


def _by_kind(seen: Iterable[Seen]) -> dict[str, list[Seen]]:
    groups: dict[str, list[Seen]] = {}
    for one in seen:
        groups.setdefault(one.case.kind, []).append(one)
    return dict(sorted(groups.items()))


def _print_usable(seen: list[Seen]) -> None:
    print(
        f"{'kind':18s} count  found   error px: median     90 %     95 %      max"
        "  over 1 px  in 2 sigma      ms"
    )
    for kind, group in [*_by_kind(seen).items(), ("all", seen)]:
        print(f"{kind:18s} {_usable_row(group)}")


def _usable_row(group: list[Seen]) -> str:
    found = [one for one in group if one.accepted]
    took_ms = float(np.median([one.took_ms for one in group]))
    head = f"{len(group):5d} {100 * len(found) / len(group):5.0f}%"
    if not found:
        return f"{head} {'':54s} {took_ms:30.1f}"
    errors = [one.distance_px for one in found]
    middle = "".join(f"{x:9.3f}" for x in np.quantile(errors, [0.5, 0.9, 0.95, 1.0]))
    inside = 100 * sum(one.within for one in found) / (2 * len(found))
    far = sum(error > FAR_PX for error in errors)
    return f"{head} {'':8s}{middle:>46s} {far:10d} {inside:10.0f}% {took_ms:7.1f}"


def _print_unusable(seen: list[Seen]) -> None:
    print(f"{'kind':18s} count  accepted  of them with the size checked      ms")
    for kind, group in [*_by_kind(seen).items(), ("all", seen)]:
        fits = [one.answer for one in group if isinstance(one.answer, BoreFit)]
        checked = sum(fit.size_verified for fit in fits)
        took_ms = float(np.median([one.took_ms for one in group]))
        print(f"{kind:18s} {len(group):5d} {len(fits):9d} {checked:30d} {took_ms:9.1f}")


def _worst(usable: list[Seen], rest: list[Seen], number: int) -> list[Seen]:
    """Return the largest errors, then refusals of what is usable, then wrong acceptances."""
    found = sorted((one for one in usable if one.accepted), key=lambda one: -one.distance_px)
    refused = [one for one in usable if not one.accepted]
    accepted = [one for one in rest if one.accepted]
    return [*found[:number], *refused[:number], *accepted[:number]]


def _print_worst(usable: list[Seen], rest: list[Seen], number: int) -> None:
    print("\nworst: seed, what came of it, kind, conditions\n")
    for one in _worst(usable, rest, number):
        print(
            f"{one.seed:7d}  {_outcome(one):36s} {one.case.kind}; {', '.join(one.case.conditions)}"
        )


def _outcome(one: Seen) -> str:
    if isinstance(one.answer, BoreRefusal):
        return f"refused: {one.answer.reason.value}"
    if one.case.centre_px is None:
        return f"accepted, R {one.answer.radius_px:.1f}"
    u, v = one.error_px
    return f"off {u:+.3f} {v:+.3f} px, R {one.answer.radius_px:.1f}"


def _save(usable: list[Seen], rest: list[Seen], number: int, folder: Path) -> None:
    """Write each picture twice: as the finder got it, and with truth and answer marked."""
    folder.mkdir(parents=True, exist_ok=True)
    for one in _worst(usable, rest, number):
        name = f"{one.case.kind.replace(' ', '-')}-{one.seed}"
        cv2.imwrite(str(folder / f"{name}.png"), one.case.frame)
        cv2.imwrite(str(folder / f"{name}-marked.png"), _marked(one))


def _marked(one: Seen) -> cv2.typing.MatLike:
    frame = one.case.frame
    colour = frame.copy() if frame.ndim == 3 else cv2.cvtColor(frame, cv2.COLOR_GRAY2BGR)
    big = cv2.resize(colour, None, fx=3, fy=3, interpolation=cv2.INTER_NEAREST)
    if one.case.centre_px is not None and one.case.radius_px is not None:
        _dots(big, one.case.centre_px, one.case.radius_px, (0, 255, 255))
    if isinstance(one.answer, BoreFit):
        found = one.answer.centre_px
        _dots(big, (found.u, found.v), one.answer.radius_px, (255, 0, 255))
    return big


def _dots(
    big: cv2.typing.MatLike, centre: tuple[float, float], radius: float, colour: cv2.typing.Scalar
) -> None:
    for turn in np.linspace(0, 2 * np.pi, 48, endpoint=False):
        u, v = centre[0] + radius * np.cos(turn), centre[1] + radius * np.sin(turn)
        cv2.circle(big, (round(3 * u + 1), round(3 * v + 1)), 1, colour, -1)


if __name__ == "__main__":
    main()
