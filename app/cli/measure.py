"""`tipwright measure`: find the bore in pictures, one line of result a picture."""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

from app.cameras import read_image
from app.cli.outcome import Exit, give, give_json, say
from app.errors import InputError
from app.job.bores import bore_words
from vision.bore import (
    BoreFit,
    BoreRefusal,
    RadiusPrior,
    bore_size,
    find_bore,
    nozzle_finding,
)

SCHEMA = 1

ABOUT = """\
Find the bore of a nozzle in pictures: its centre, radius and uncertainty in pixels.

Pixel (0, 0) is the centre of the top-left pixel; u grows to the right, v downwards.
A picture in which no bore is found is an answer and says why; a file that is no
picture makes the exit status 2.

  tipwright measure tip.png
  tipwright measure --bore-mm 0.4 --um-per-px 5.2 --json frames/*.jpg
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "frames", nargs="+", metavar="FRAME", help="a picture file: PNG, JPEG, TIFF or BMP"
    )
    parser.add_argument(
        "--bore-mm",
        type=float,
        metavar="D",
        help="nominal diameter of the bore; with --um-per-px a check of the size",
    )
    parser.add_argument(
        "--um-per-px", type=float, metavar="S", help="what a pixel is worth, in micrometres"
    )
    parser.add_argument("--json", action="store_true", help="one JSON object a line and frame")


def run(arguments: argparse.Namespace) -> int:
    """Measure all frames; a refusal is an answer, an unreadable file is not."""
    prior = radius_prior(arguments.bore_mm, arguments.um_per_px)
    status = Exit.GOOD
    for name in arguments.frames:
        try:
            fit: BoreFit | BoreRefusal | InputError = _measured(Path(name), prior)
        except InputError as error:
            fit = error
            status = Exit.BAD_INPUT
        if arguments.json:
            give_json(frame_object(name, fit))
        else:
            give(frame_line(name, fit))
        if prior is not None and isinstance(fit, BoreFit):
            _tell_size(name, fit, arguments.bore_mm, arguments.um_per_px)
    return status


def _tell_size(name: str, fit: BoreFit, bore_mm: float, um_per_px: float) -> None:
    """Say for people how wide the bore is, and whether that is the nozzle that is expected."""
    # How well the pixel is known was not said: its part is left out.
    size = bore_size(fit, um_per_px, 0.0)
    said = nozzle_finding(size, bore_mm) or f"the bore measures {bore_words(size)} (k = 2)."
    say(f"{name}: {said[0].lower()}{said[1:]}")


def _measured(path: Path, prior: RadiusPrior | None) -> BoreFit | BoreRefusal:
    """Find the bore; where one of another size is in view, say so instead of what else is amiss.

    It stays a refusal: what is in the picture may be a washer or a drilled hole.
    """
    image = read_image(path)
    answer = find_bore(image, radius_prior=prior)
    if prior is None or isinstance(answer, BoreFit):
        return answer
    other = find_bore(image, radius_prior=replace(prior, strict=False))
    return answer if isinstance(other, BoreRefusal) else _of_another_size(answer, other, prior)


def _of_another_size(refusal: BoreRefusal, other: BoreFit, prior: RadiusPrior) -> BoreRefusal:
    return replace(
        refusal,
        message=f"What looks like a bore has a radius of {other.radius_px:.1f} px, but "
        f"{prior.radius_px:.1f} px is expected: another nozzle, or no nozzle at all.",
        remedy="Check --bore-mm and --um-per-px, or leave them out to have it measured.",
    )


def radius_prior(bore_mm: float | None, um_per_px: float | None) -> RadiusPrior | None:
    """Return the radius to expect, where both priors are given."""
    for name, value, high in (("--bore-mm", bore_mm, 10.0), ("--um-per-px", um_per_px, 1000.0)):
        if value is not None and not 0.0 < value <= high:
            raise InputError(
                f"{name} has to be a number above 0 and at most {high:g} (it is {value:g}).",
                code="bad-option",
                path=name,
                value=value,
            )
    if bore_mm is None or um_per_px is None:
        if bore_mm is not None or um_per_px is not None:
            say("--bore-mm and --um-per-px tell the bore's size together; one alone tells nothing.")
        return None
    return RadiusPrior(radius_px=bore_mm * 500.0 / um_per_px)


def frame_object(name: str, fit: BoreFit | BoreRefusal | InputError) -> dict[str, object]:
    """Return the result of one frame for programs."""
    empty: dict[str, object] = {
        "schema": SCHEMA,
        "frame": name,
        "found": False,
        "center_px": None,
        "radius_px": None,
        "sigma_px": None,
        "cov_px2": None,
        "reason": None,
    }
    match fit:
        case BoreFit():
            cov = fit.cov_px2
            return empty | {
                "found": True,
                "center_px": list(fit.centre_px),
                "radius_px": fit.radius_px,
                "sigma_px": cov.sigma_px,
                "cov_px2": [[cov.uu, cov.uv], [cov.uv, cov.vv]],
            }
        case BoreRefusal():
            return empty | {"reason": f"{fit.message} {fit.remedy}"}
        case InputError():
            return empty | {"reason": fit.message}


def frame_line(name: str, fit: BoreFit | BoreRefusal | InputError) -> str:
    """Return the result of one frame for people."""
    match fit:
        case BoreFit():
            size = "" if fit.size_verified else "  (size not verified)"
            return (
                f"{name}: centre {fit.centre_px.u:.3f}, {fit.centre_px.v:.3f} px"
                f"  +-{2.0 * fit.cov_px2.sigma_px:.3f} (k = 2)"
                f"  radius {fit.radius_px:.2f} px{size}"
            )
        case BoreRefusal():
            return f"{name}: no bore: {fit.message} {fit.remedy}"
        case InputError():
            return f"{name}: {fit.message}"
