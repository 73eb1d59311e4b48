#!/usr/bin/env python3
"""Render the sample frames: nozzle tips under a microscope, with known truth.

Needs the extra `render` (Mitsuba) beside numpy and OpenCV. Every frame is seeded, so it
can be made again; frames that are already there are left alone.
"""

from __future__ import annotations

import argparse
import json
import os
import time
import zlib
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import drjit
import mitsuba as mi
import numpy as np
from numpy.typing import NDArray
from rendering import catalogue, plover, scene, sensor
from rendering.catalogue import Frame
from rendering.scene import View
from rendering.sensor import Picture

HERE = Path(__file__).resolve().parent
JOB = HERE / "plover-job"


def main() -> int:
    """Make what is missing and write the truth; return 1 when a check failed."""
    wanted = _arguments()
    _start_renderer(wanted.variant, wanted.threads)
    singles = catalogue.single_frames()
    stops = plover.stops()
    job_frames = tuple(plover.frame(stop) for stop in stops)
    maker = _Maker(wanted)
    entries = maker.made(HERE / "frames", singles, HERE / "truth.json")
    job_entries = maker.made(JOB / "frames", job_frames, JOB / "truth.json")
    if entries is None or job_entries is None:
        print("not all frames are there yet; run again without --only")
        return 0
    _write(HERE / "truth.json", {"schema": 1, "frames": list(entries.values())})
    _write(JOB / "job.json", plover.job(stops))
    _write(JOB / "truth.json", plover.truth(stops, job_entries))
    return _report([*entries.values(), *job_entries.values()])


class _Maker:
    """Makes frames one after another and keeps what is there."""

    def __init__(self, wanted: argparse.Namespace) -> None:
        self._wanted = wanted

    def made(
        self, folder: Path, frames: tuple[Frame, ...], truth_file: Path
    ) -> dict[str, dict[str, object]] | None:
        """Return the truth of each frame by file name; None while some are missing."""
        folder.mkdir(parents=True, exist_ok=True)
        known = _known(truth_file)
        entries: dict[str, dict[str, object]] = {}
        for frame in frames:
            path = folder / frame.file
            chosen = not self._wanted.only or any(word in frame.file for word in self._wanted.only)
            if chosen and (self._wanted.redo or not path.exists()):
                self._make(path, frame)
                known.pop(frame.file, None)
            if path.exists():
                entries[frame.file] = _truth(frame, known.get(frame.file))
        return entries if len(entries) == len(frames) else None

    def _make(self, path: Path, frame: Frame) -> None:
        began = time.monotonic()
        light = self._light(frame)
        picture = _developed(frame, light)
        options = [cv2.IMWRITE_JPEG_QUALITY, frame.quality] if path.suffix == ".jpg" else []
        # A frame that was half written must not look finished to the next run.
        half = path.with_name("half-" + path.name)
        cv2.imwrite(str(half), picture, options)
        half.replace(path)
        print(f"{path.name}: {time.monotonic() - began:.0f} s", flush=True)

    def _light(self, frame: Frame) -> NDArray[np.float64]:
        kept = None
        if self._wanted.keep_light is not None:
            kept = self._wanted.keep_light / f"{frame.file}.npy"
            if kept.exists() and not self._wanted.redo:
                return np.asarray(np.load(kept), dtype=np.float64)
        light = scene.rendered(frame.view, samples=frame.samples, seed=_seed(frame))
        if kept is not None:
            kept.parent.mkdir(parents=True, exist_ok=True)
            np.save(kept, light.astype(np.float32))
        return light


def _developed(frame: Frame, light: NDArray[np.float64]) -> Picture:
    exposure = frame.land_level / max(_land_light(frame.view, light), 1e-9)
    chosen = replace(frame.sensor, exposure=exposure)
    return sensor.developed(light, chosen, seed=_seed(frame) + 1)


def _land_light(view: View, light: NDArray[np.float64]) -> float:
    """Return the median light of the land, or of the whole view where there is none."""
    green = light[..., 1]
    if view.tip_mm is None:
        return float(np.median(green))
    camera, tip = view.microscope, view.tip
    u, v = camera.project(np.asarray(view.tip_mm))[0]
    rows, columns = np.mgrid[0 : green.shape[0], 0 : green.shape[1]]
    radius_mm = np.hypot(columns - u, rows - v) * camera.um_per_px * 1e-3
    inner, outer = tip.bore_radius_mm + tip.edge_break_mm, tip.land_mm / 2.0
    margin = 0.1 * (outer - inner)
    return float(np.median(green[(radius_mm > inner + margin) & (radius_mm < outer - margin)]))


def _truth(frame: Frame, known: dict[str, object] | None) -> dict[str, object]:
    """Return the truth of one frame; the mask's centroid is taken from an earlier run."""
    view, camera = frame.view, frame.view.microscope
    entry: dict[str, object] = {
        "file": f"frames/{frame.file}",
        "usable": frame.unusable_because is None,
        "expected_reason": frame.unusable_because,
        "conditions": list(frame.conditions),
        "um_per_px": camera.um_per_px,
        "bore_mm": None if view.tip_mm is None else view.tip.bore_mm,
        "centre_px": None,
        "radius_px": None,
        "rim_radius_px": None,
        "mask_difference_px": None,
    }
    if view.tip_mm is None:
        return entry
    centre = camera.project(np.asarray(view.tip_mm))[0]
    px_per_mm = float(np.sqrt(np.linalg.det(camera.px_per_mm_at(np.asarray(view.tip_mm)))))
    entry["centre_px"] = centre.round(4).tolist()
    entry["radius_px"] = round(view.tip.bore_radius_mm * px_per_mm, 3)
    entry["rim_radius_px"] = round(
        (view.tip.bore_radius_mm + view.tip.edge_break_mm) * px_per_mm, 3
    )
    if known is not None and known.get("centre_px") == entry["centre_px"]:
        entry["mask_difference_px"] = known["mask_difference_px"]
    else:
        centroid = scene.disc_centroid_px(view)
        if centroid is not None:
            entry["mask_difference_px"] = (centroid - centre).round(4).tolist()
    return entry


def _report(entries: list[dict[str, Any]]) -> int:
    differences = [
        float(np.hypot(*entry["mask_difference_px"]))
        for entry in entries
        if entry["mask_difference_px"] is not None
    ]
    worst = max(differences)
    print(f"{len(entries)} frames; centre against mask in {len(differences)}: worst {worst:.4f} px")
    return 0 if worst < 0.05 else 1


def _known(truth_file: Path) -> dict[str, dict[str, object]]:
    if not truth_file.exists():
        return {}
    stored = json.loads(truth_file.read_text(encoding="utf-8"))
    return {Path(entry["file"]).name: entry for entry in stored["frames"]}


def _seed(frame: Frame) -> int:
    return zlib.crc32(frame.file.encode()) % 1_000_000


def _write(path: Path, content: dict[str, object]) -> None:
    path.write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")


def _start_renderer(variant: str, threads: int) -> None:
    os.nice(10)
    mi.set_variant(variant)
    if threads:
        drjit.set_thread_count(threads)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--only", nargs="+", metavar="WORD", help="frames with WORD in their name")
    parser.add_argument("--redo", action="store_true", help="make frames that are there again")
    parser.add_argument(
        "--keep-light",
        type=Path,
        metavar="FOLDER",
        help="keep the rendered light there, to develop it again without rendering",
    )
    parser.add_argument(
        "--variant",
        default="llvm_ad_rgb",
        help="of the renderer; scalar_rgb needs no LLVM and is slower (default: %(default)s)",
    )
    parser.add_argument(
        "--threads", type=int, default=1, help="0 takes all cores (default: %(default)s)"
    )
    return parser.parse_args()


if __name__ == "__main__":
    raise SystemExit(main())
