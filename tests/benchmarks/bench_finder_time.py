"""How long the bore finder takes, and how much memory, beside plain calls of the libraries.

One thread, CPU time of that thread. Not collected by pytest.

    python -m tests.benchmarks.bench_finder_time --quick
"""

from __future__ import annotations

import argparse
import statistics
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from itertools import product
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.finder.plain_calls import canny_circle, hough, otsu_ellipse
from tests.benchmarks.finder.report import Report, keep_to_one_thread
from vision.bore import BoreFit, BoreRefusal, RadiusPrior, find_bore
from vision.geometry import PointPx
from vision.synthesis import Light, Optics, Sensor, Tip, expose, prepare_tip, render

Picture = NDArray[np.uint8]
Calls = dict[str, Callable[[], object]]

SIZES = ((640, 480), (1280, 960), (1920, 1080), (3840, 2160))
UM_PER_PX = 6.0
BORE_MM = 0.4
RADIUS_PX = 500 * BORE_MM / UM_PER_PX
LAST_MOVE_PX = (1.4, -0.9)
"""How far the bore has moved since the frame before, where it is tracked."""

TRACK, AGAIN = "tracking: last centre, prior", "tracking: last fit"
SEARCH, COLD = "search, prior 25 %", "search, no prior"
EMPTY, EMPTY_COLD = "no bore, prior 25 %", "no bore, no prior"
OWN = (TRACK, AGAIN, SEARCH, COLD, EMPTY, EMPTY_COLD)
HOUGH, HOUGH_ALT, DECODE = "HoughCircles", "HOUGH_GRADIENT_ALT", "JPEG decoding"
CANNY, CONTOUR = "canny + RANSAC circle", "contour + fitEllipse"
RIVALS = (HOUGH, HOUGH_ALT, CANNY, CONTOUR, DECODE)

TRACK_GOAL_MS = 4.0
SEARCH_GOAL_MS = {(640, 480): 8.0, (1920, 1080): 12.0, (3840, 2160): 20.0}
CLUTTER_PX2 = 6000
"""Area of the frame for each of the parts behind the tip."""
LONGEST_S = 4.0
"""A call is repeated until this is spent: the slow ones would take minutes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Frames:
    """The frames of one size.

    Attributes
    ----------
    bore, empty
        BGR: a used nozzle's tip before a cluttered machine; the machine with no tip in view.
    centre_px
        Where the bore is.
    """

    bore: Picture
    empty: Picture
    centre_px: PointPx


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """CPU time of one call, ms."""

    best_ms: float
    median_ms: float


def main() -> None:
    """Make the tables and the page docs/grades/finder-time.md."""
    wanted = _arguments()
    keep_to_one_thread()
    repeats = 3 if wanted.quick else wanted.repeats
    sizes = SIZES[:3] if wanted.quick else SIZES
    report = Report(
        "finder-time",
        "What the finder costs",
        seed=wanted.seed,
        samples=f"best and median of {repeats} (fewer for calls that take over "
        f"{LONGEST_S / repeats:.1f} s)",
    )
    times: dict[tuple[int, int], dict[str, Timing]] = {}
    answers: dict[tuple[int, int], dict[str, str]] = {}
    memory: dict[str, float] = {}
    for size in sizes:
        frames = _frames(size, wanted.seed)
        own = _own_calls(frames)
        answers[size] = {name: _answer(call(), frames) for name, call in own.items()}
        calls = own | _plain_calls(frames, wanted.seed)
        times[size] = {name: _time(call, repeats) for name, call in calls.items()}
        if size == sizes[-1]:
            memory = {name: _peak_planes(call, size) for name, call in own.items()}
    _time_table(report, times)
    _ratio_table(report, times)
    _answer_table(report, answers)
    _memory_table(report, memory, sizes[-1])
    report.finish()


# -- tables ----------------------------------------------------------------------------------


def _time_table(report: Report, times: dict[tuple[int, int], dict[str, Timing]]) -> None:
    names = dict.fromkeys(name for of_size in times.values() for name in of_size)
    rows = []
    for name in names:
        cells = [_cell(of_size.get(name), _goal_ms(name, size)) for size, of_size in times.items()]
        rows.append((name, *cells))
    note = (
        f"Bore of {RADIUS_PX:.0f} px radius in a rendered picture of a used tip, BGR, "
        "before a cluttered background. Goals in brackets: tracking "
        f"{TRACK_GOAL_MS:g} ms; search {', '.join(f'{g:g}' for g in SEARCH_GOAL_MS.values())} ms "
        f"at {', '.join(_name(size) for size in SEARCH_GOAL_MS)}. Tracking starts "
        f"{np.hypot(*LAST_MOVE_PX):.1f} px off. Plain calls get the picture in grey; both Hough "
        "transforms try radii within 40 %."
    )
    if AGAIN not in names:
        note += " This finder does not take the last fit as `near`."
    header = ("ms, best / median", *(_name(size) for size in times))
    report.table("CPU time of one frame", header, rows, note=note)


def _cell(timing: Timing | None, goal_ms: float | None) -> str:
    if timing is None:
        return "-"
    said = f"{timing.best_ms:.1f} / {timing.median_ms:.1f}"
    if goal_ms is None:
        return said
    # The median is what a user has; the best only says what the machine can do.
    return f"{said} (goal {goal_ms:g}: {'met' if timing.median_ms <= goal_ms else 'missed'})"


def _goal_ms(name: str, size: tuple[int, int]) -> float | None:
    if name in (TRACK, AGAIN):
        return TRACK_GOAL_MS
    return SEARCH_GOAL_MS.get(size) if name in (SEARCH, COLD) else None


def _ratio_table(report: Report, times: dict[tuple[int, int], dict[str, Timing]]) -> None:
    rows = []
    for name, (size, of_size) in product(OWN, times.items()):
        if name in of_size:
            ratios = (of_size[name].best_ms / of_size[other].best_ms for other in RIVALS)
            rows.append((name, _name(size), *(f"{ratio:.2f}" for ratio in ratios)))
    note = "Best over best, in the same run: under 1 the finder is the quicker one."
    report.table("As ratios", ("finder / plain call", "frame", *RIVALS), rows, note=note)


def _answer_table(report: Report, answers: dict[tuple[int, int], dict[str, str]]) -> None:
    rows = [(name, *(of_size[name] for of_size in answers.values())) for name in OWN
            if name in next(iter(answers.values()))]  # fmt: skip
    note = "What was timed: how far off the accepted centre is, or the reason of the refusal."
    header = ("answer", *(_name(size) for size in answers))
    report.table("What the finder answered", header, rows, note=note)


def _memory_table(report: Report, memory: dict[str, float], size: tuple[int, int]) -> None:
    rows = [(name, f"{planes:.2f}") for name, planes in memory.items()]
    note = (
        f"Most that one call held at once, in grey planes of {_name(size)} bytes. Goal: no copy "
        "of the frame beyond one grey plane. Counted by tracemalloc, to which NumPy reports its "
        "arrays and OpenCV those that it returns; what OpenCV takes and gives back inside a call "
        "is not seen."
    )
    report.table("Memory", ("call", "grey planes"), rows, note=note)


def _name(size: tuple[int, int]) -> str:
    return f"{size[0]}x{size[1]}"


# -- what is timed ---------------------------------------------------------------------------


def _own_calls(frames: Frames) -> Calls:
    prior, cold = RadiusPrior(radius_px=RADIUS_PX, relative_tolerance=0.25), None
    near = PointPx(frames.centre_px.u + LAST_MOVE_PX[0], frames.centre_px.v + LAST_MOVE_PX[1])
    again = _with_last_fit(frames, prior)
    return {
        TRACK: partial(find_bore, frames.bore, radius_prior=prior, near=near),
        **({} if again is None else {AGAIN: again}),
        SEARCH: partial(find_bore, frames.bore, radius_prior=prior),
        COLD: partial(find_bore, frames.bore, radius_prior=cold),
        EMPTY: partial(find_bore, frames.empty, radius_prior=prior),
        EMPTY_COLD: partial(find_bore, frames.empty, radius_prior=cold),
    }


def _with_last_fit(frames: Frames, prior: RadiusPrior) -> Callable[[], object] | None:
    """Return tracking from the fit of a frame a little moved, where the finder takes one."""
    du, dv = LAST_MOVE_PX
    move = np.array([[1.0, 0.0, du], [0.0, 1.0, dv]])
    before = cv2.warpAffine(
        frames.bore, move, frames.bore.shape[1::-1], borderMode=cv2.BORDER_REFLECT
    )
    found = find_bore(before, radius_prior=prior)
    if not isinstance(found, BoreFit):
        return None
    # Not typed: a finder that takes points only refuses a fit by TypeError.
    last: Any = found
    call = partial(find_bore, frames.bore, radius_prior=prior, near=last)
    try:
        call()
    except TypeError:
        return None
    return call


def _plain_calls(frames: Frames, seed: int) -> Calls:
    grey = np.asarray(cv2.cvtColor(frames.bore, cv2.COLOR_BGR2GRAY), dtype=np.uint8)
    data = cv2.imencode(".jpg", frames.bore, [cv2.IMWRITE_JPEG_QUALITY, 90])[1]
    near = (frames.centre_px.u, frames.centre_px.v)
    return {
        HOUGH: partial(hough, grey, near, RADIUS_PX),
        HOUGH_ALT: partial(hough, grey, near, RADIUS_PX, alternative=True),
        CANNY: lambda: canny_circle(grey, np.random.default_rng(seed)),
        CONTOUR: partial(otsu_ellipse, grey, near),
        "BGR to grey": partial(cv2.cvtColor, frames.bore, cv2.COLOR_BGR2GRAY),
        DECODE: partial(cv2.imdecode, data, cv2.IMREAD_COLOR),
    }


def _answer(found: object, frames: Frames) -> str:
    if isinstance(found, BoreRefusal):
        return found.reason.value
    assert isinstance(found, BoreFit)
    off = np.hypot(found.centre_px.u - frames.centre_px.u, found.centre_px.v - frames.centre_px.v)
    return f"{off:.2f} px off"


def _time(call: Callable[[], object], repeats: int) -> Timing:
    spent: list[float] = []
    while len(spent) < repeats and sum(spent) < LONGEST_S:
        began = time.thread_time()
        call()
        spent.append(time.thread_time() - began)
    # The first call of its kind fills caches and is left out where there are others.
    counted = spent[1:] or spent
    return Timing(best_ms=1e3 * min(counted), median_ms=1e3 * statistics.median(counted))


def _peak_planes(call: Callable[[], object], size: tuple[int, int]) -> float:
    call()
    tracemalloc.start()
    try:
        call()
        return tracemalloc.get_traced_memory()[1] / (size[0] * size[1])
    finally:
        tracemalloc.stop()


# -- frames ----------------------------------------------------------------------------------


def _frames(size: tuple[int, int], seed: int) -> Frames:
    centre = PointPx(0.55 * size[0] + 0.3, 0.45 * size[1] - 0.2)
    away = PointPx(centre.u + 3 * size[0], centre.v)
    shot = partial(_shot, size, np.random.default_rng(seed))
    return Frames(bore=shot(centre), empty=shot(away), centre_px=centre)


def _shot(size: tuple[int, int], rng: np.random.Generator, centre: PointPx) -> Picture:
    tip = Tip(bore_mm=BORE_MM)
    light = render(
        prepare_tip(tip, um_per_px=UM_PER_PX),
        size_px=size,
        centre_px=centre,
        matrix_px_per_mm=1000.0 / UM_PER_PX * np.eye(2),
        defocus_mm=0.0,
        light=Light(),
        optics=Optics(),
    )
    v, u = np.ogrid[: size[1], : size[0]]
    rho = np.hypot(u - centre.u, v - centre.v)
    behind = rho > 500 * tip.cone_mm / UM_PER_PX
    light[behind] *= _clutter(size, rng)[behind, None]
    return expose(light, Sensor(), rng)


def _clutter(size: tuple[int, int], rng: np.random.Generator) -> NDArray[np.float32]:
    """Return the machine's underside: corners and edges of many parts, in parts of its light.

    The rendered background is smooth, which would spare an edge detector all of its work.
    """
    layer = np.ones((size[1], size[0]), dtype=np.float32)
    for _ in range(size[0] * size[1] // CLUTTER_PX2):
        corners = int(rng.integers(3, 6))
        turn = np.sort(rng.uniform(0, 2 * np.pi, corners))
        reach = rng.uniform(8, 60, corners)
        at = rng.uniform((0, 0), size)
        outline = at + reach[:, None] * np.stack([np.cos(turn), np.sin(turn)], axis=1)
        level = float(np.exp(rng.uniform(np.log(0.4), np.log(12.0))))
        cv2.fillPoly(layer, [np.rint(outline).astype(np.int32)], level)
    return np.asarray(cv2.GaussianBlur(layer, (0, 0), 1.5), dtype=np.float32)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="three repeats, no 3840x2160")
    parser.add_argument("--repeats", type=int, default=21, help="calls a time (21)")
    parser.add_argument("--seed", type=int, default=1, help="seed of the frames' noise (1)")
    given = parser.parse_args()
    if given.repeats < 2:
        parser.error(f"--repeats must be 2 or more, got {given.repeats}")
    return given


if __name__ == "__main__":
    main()
