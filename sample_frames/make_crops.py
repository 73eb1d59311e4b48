#!/usr/bin/env python3
"""Render small pictures of nozzle tips drawn by chance, with known truth.

They grade the covariance that the bore finder states. Needs the extra `render` (Mitsuba)
beside numpy and OpenCV. Pictures that are there are left alone, so the run can be stopped
and started again; `truth.json` is written as it goes.
"""

from __future__ import annotations

import argparse
import json
import os
import time
from dataclasses import replace
from pathlib import Path

import cv2
import drjit
import mitsuba as mi
import numpy as np
from numpy.typing import NDArray
from rendering import chance, scene, sensor, shape
from rendering.chance import Crop
from rendering.scene import View

HERE = Path(__file__).resolve().parent
CROPS = HERE / "crops"

LARGEST_DIFFERENCE_PX = 0.05


def main() -> int:
    """Make what is missing and write the truth; return 1 when a check failed."""
    wanted = _arguments()
    os.nice(10)
    cv2.setNumThreads(1)
    mi.set_variant(wanted.variant)
    drjit.set_thread_count(1)
    if wanted.check:
        return _checked(wanted.check)
    CROPS.mkdir(exist_ok=True)
    return _made(range(wanted.first, wanted.count + 1, wanted.step))


def _made(numbers: range) -> int:
    began, made = time.monotonic(), 0
    entries: dict[str, dict[str, object]] = {}
    for number in numbers:
        crop = chance.crop(number)
        entries[crop.frame.file] = _truth(crop)
        if (CROPS / crop.frame.file).exists():
            continue
        _make(crop)
        made += 1
        if made % 10 == 0:
            _write_truth(entries)
            each = (time.monotonic() - began) / made
            print(f"{crop.frame.file}: {made} made, {each:.1f} s each", flush=True)
    _write_truth(entries)
    return 0


def _make(crop: Crop) -> None:
    frame = crop.frame
    light = scene.rendered(frame.view, samples=frame.samples, seed=crop.seed)
    exposure = frame.land_level / max(_land_light(frame.view, light), 1e-9)
    chosen = replace(frame.sensor, exposure=exposure)
    picture = sensor.developed(light, chosen, seed=crop.seed + 1)
    path = CROPS / frame.file
    options = [cv2.IMWRITE_JPEG_QUALITY, frame.quality] if path.suffix == ".jpg" else []
    # A picture that was half written must not look finished to the next run.
    half = path.with_name("half-" + path.name)
    cv2.imwrite(str(half), picture, options)
    half.replace(path)


def _land_light(view: View, light: NDArray[np.float64]) -> float:
    """Return the usual light on the middle of the land, all round.

    The median; but where lamps are mirrored as spots in a land that is dark otherwise, the
    spots are to be seen as well.
    """
    tip = view.tip
    inner, outer = tip.bore_radius_mm + tip.edge_break_mm, tip.land_mm / 2.0
    radii, turns = np.meshgrid(
        inner + np.array([0.3, 0.5, 0.7]) * (outer - inner), np.linspace(0.0, 2.0 * np.pi, 121)
    )
    flat = np.stack([radii * np.cos(turns), radii * np.sin(turns), np.zeros_like(radii)], axis=-1)
    turn = shape.tilt_matrix(view.tip_tilt_deg, view.tip_tilt_towards_deg)
    points = flat.reshape(-1, 3) @ turn.T + np.asarray(view.tip_mm)
    columns, rows = np.round(view.microscope.project(points)).astype(int).T
    height, width = light.shape[:2]
    seen = (columns >= 0) & (columns < width) & (rows >= 0) & (rows < height)
    land = light[rows[seen], columns[seen], 1]
    return float(max(np.median(land), 0.6 * np.mean(land)))


def _write_truth(entries: dict[str, dict[str, object]]) -> None:
    """Put these entries beside those that are there, which may be another run's.

    Two runs that write at once may lose each other's newest; both write all of theirs again
    with the next picture, and a last run without --step writes everything.
    """
    path = CROPS / "truth.json"
    stored = json.loads(path.read_text(encoding="utf-8"))["crops"] if path.exists() else []
    known = {entry["file"]: entry for entry in stored} | entries
    lines = ",\n".join("  " + json.dumps(known[file]) for file in sorted(known))
    half = path.with_name(f"half-{os.getpid()}.json")
    half.write_text('{"schema": 1, "crops": [\n' + lines + "\n]}\n", encoding="utf-8")
    half.replace(path)


def _truth(crop: Crop) -> dict[str, object]:
    view, camera = crop.frame.view, crop.frame.view.microscope
    tip_mm = np.asarray(view.tip_mm)
    px_per_mm = float(np.sqrt(np.linalg.det(camera.px_per_mm_at(tip_mm))))
    wall_mm = view.tip.bore_radius_mm
    return {
        "file": crop.frame.file,
        "centre_px": camera.project(tip_mm)[0].round(4).tolist(),
        "rim_radius_px": round((wall_mm + view.tip.edge_break_mm) * px_per_mm, 3),
        "radius_px": round(wall_mm * px_per_mm, 3),
        "um_per_px": round(camera.um_per_px, 4),
        "bore_mm": round(view.tip.bore_mm, 4),
        "covered": round(crop.covered, 3),
        "conditions": list(crop.frame.conditions),
        "seed": crop.seed,
    }


def _checked(numbers: list[int]) -> int:
    """Compare centres with the centroid of the bore's disc, drawn alone by the renderer."""
    worst = 0.0
    for number in numbers:
        view = chance.crop(number).frame.view
        centroid = scene.disc_centroid_px(view)
        if centroid is None:
            print(f"{number:04d}: the disc is not wholly in view")
            return 1
        miss = centroid - view.microscope.project(np.asarray(view.tip_mm))[0]
        worst = max(worst, float(np.hypot(*miss)))
        print(f"{number:04d}: {miss[0]:+.4f} {miss[1]:+.4f} px")
    print(f"centre against mask: worst {worst:.4f} px")
    return 0 if worst < LARGEST_DIFFERENCE_PX else 1


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--count", type=int, default=720, help="pictures (default: %(default)s)")
    parser.add_argument("--first", type=int, default=1, help="first number (default: 1)")
    parser.add_argument(
        "--step", type=int, default=1, help="2 makes every other one, beside another run"
    )
    parser.add_argument(
        "--check", type=int, nargs="+", metavar="NUMBER", help="check the truth of these only"
    )
    parser.add_argument(
        "--variant",
        default="scalar_rgb",
        help="of the renderer; llvm_ad_rgb needs LLVM 19 (default: %(default)s)",
    )
    return parser.parse_args()


if __name__ == "__main__":
    raise SystemExit(main())
