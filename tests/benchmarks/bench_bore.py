"""Measure the bore finder: bias, scatter, coverage and time against plain library calls.

Not collected by pytest. The pictures are analytic; their truth is exact.
"""

from __future__ import annotations

import argparse
import platform
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial

import cv2
import numpy as np
import scipy

from tests.vision.bore.pictures import Blob, Scene, jpeg, take
from vision.bore import ALGORITHM, BoreFit, RadiusPrior, find_bore
from vision.geometry import PointPx

ROWS: dict[str, Scene] = {
    "clean": Scene(),
    "small, R 12": Scene(radius=12, land_radius=30),
    "soft, s 3": Scene(blur=3.0),
    "noise 10": Scene(noise=10.0),
    "texture 5 %": Scene(texture=0.05),
    "grooves 6 %": Scene(marks=0.06),
    "light gradient": Scene(gradient=(0.15, 0.05)),
    "lit edge break": Scene(chamfer=2.0, chamfer_levels=(0.5, 0.08), gradient=(0.08, 0.0)),
    "drop over a third": Scene(drops=(Blob(away=36, direction_rad=2.0, radius=32),)),
    "bright plastic": Scene(plastic=190.0),
}
SIZES = ((640, 480), (1280, 960), (1920, 1080), (3840, 2160))


def main() -> None:
    """Print the tables."""
    wanted = _arguments()
    cv2.setNumThreads(1)
    _say(f"{ALGORITHM}; seed {wanted.seed}; Python {platform.python_version()}; one thread")
    _say(f"NumPy {np.__version__}, OpenCV {cv2.__version__}, SciPy {scipy.__version__}")
    _say(platform.platform() + "\n")
    _accuracy(wanted.trials, wanted.seed)
    _speed(wanted.repeats)


def _accuracy(trials: int, seed: int) -> None:
    _say(f"{'case':20s}  found          bias px  scatter px  sigma px    2 s")
    for name, scene in ROWS.items():
        rng = np.random.default_rng(seed)
        errors, sigmas = [], []
        for trial in range(trials):
            u, v = 120 + rng.uniform(-0.5, 0.5, 2)
            one = replace(scene, size=(240, 240), centre=(u, v), seed=seed + trial)
            fit = find_bore(jpeg(take(one), 92))
            if isinstance(fit, BoreFit):
                errors.append(np.array(fit.centre_px) - [u, v])
                sigmas.append(np.sqrt([fit.cov_px2.uu, fit.cov_px2.vv]))
        if not errors:
            _say(f"{name:20s} {0:6d}")
            continue
        e, s = np.array(errors), np.array(sigmas)
        bias = e.mean(axis=0)
        _say(
            f"{name:20s} {len(e):6d} {bias[0]:+8.4f}{bias[1]:+8.4f} {e.std(axis=0).mean():11.4f} "
            f"{s.mean():9.4f} {100 * (np.abs(e) < 2 * s).mean():5.0f}%"
        )


def _speed(repeats: int) -> None:
    names = ("track", "prior", "search", "Hough", "decode")
    _say("\n" + f"{'ms a frame, best':20s}" + "".join(f"{name:>11s}" for name in names))
    for size in SIZES:
        times = [_best_ms(call, repeats) for call in _calls(size)]
        _say(f"{size[0]} x {size[1]:<13d}" + "".join(f"{t:11.1f}" for t in times))
        for name, other in zip(names[3:], times[3:], strict=True):
            _say(f"{'  times ' + name:20s}" + "".join(f"{t / other:11.1f}" for t in times[:3]))


def _calls(size: tuple[int, int]) -> tuple[Callable[[], object], ...]:
    scene = Scene(size=size, centre=(size[0] * 0.55, size[1] * 0.45), radius=36)
    frame = take(scene)
    colour = cv2.cvtColor(frame, cv2.COLOR_GRAY2BGR)
    data = cv2.imencode(".jpg", colour, [cv2.IMWRITE_JPEG_QUALITY, 90])[1]
    prior, near = RadiusPrior(radius_px=36.0), PointPx(*scene.centre)
    hough = partial(
        cv2.HoughCircles, param1=100, param2=30, minRadius=22, maxRadius=50, minDist=50, dp=1
    )
    return (
        partial(find_bore, colour, radius_prior=prior, near=near),
        partial(find_bore, colour, radius_prior=prior),
        partial(find_bore, colour),
        partial(hough, frame, cv2.HOUGH_GRADIENT),
        partial(cv2.imdecode, data, cv2.IMREAD_COLOR),
    )


def _say(text: str) -> None:
    sys.stdout.write(text + "\n")


def _best_ms(call: Callable[[], object], repeats: int) -> float:
    best = float("inf")
    for _ in range(repeats):
        began = time.thread_time()
        call()
        best = min(best, time.thread_time() - began)
    return 1000.0 * best


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=40, help="pictures a row (default 40)")
    parser.add_argument("--repeats", type=int, default=5, help="runs a time, best counts (5)")
    parser.add_argument("--seed", type=int, default=1, help="first seed of the pictures (1)")
    return parser.parse_args()


if __name__ == "__main__":
    main()
