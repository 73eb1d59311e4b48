"""How wide each tool's bore is, and whether that is the nozzle that should be there."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from types import MappingProxyType

import numpy as np

from app.job.checks import Finding
from app.job.observations import Evidence
from vision.bore import BoreFit, BoreSize, SeenRim, bore_size, mean_rim, nozzle_finding, rim_of
from vision.pixel_scale import PixelScale


def bores_of(evidence: Evidence, scale: PixelScale) -> Mapping[int, BoreSize]:
    """Return how wide each tool's bore is, from all its sightings that say what its rim was.

    Nobody knows a USB camera's gamma, so that its part stays in the uncertainty.
    """
    sizes: dict[int, BoreSize] = {}
    for tool in evidence.tools:
        rims = [seen.rim for seen in evidence.of_tool(tool) if seen.rim is not None]
        if rims:
            sizes[tool] = _size_on(scale, rims)
    return MappingProxyType(sizes)


def bore_findings(
    bores: Mapping[int, BoreSize], nominal_mm: Mapping[int, float]
) -> Iterator[Finding]:
    """Name the tools whose bore is not the one in the machine's profile."""
    for tool, size in bores.items():
        said = nozzle_finding(size, nominal_mm[tool]) if tool in nominal_mm else None
        if said is not None:
            yield Finding(
                code="bore-size",
                message=f"Tool {tool}: {said[0].lower()}{said[1:]} Its centre stands; look at the "
                "nozzle, or correct its bore in the machine's profile.",
                path=f"tool {tool}",
            )


def unexpected_words(scale: PixelScale, nominal_mm: float, fit: BoreFit) -> str | None:
    """Return what is said while a bore of another size is in view; None where it is the right one.

    In mm, and of two decimals, so that the sentence stands still while frames go by.
    """
    if not fit.size_note:
        return None
    seen_mm = 1e-3 * _size_on(scale, [rim_of(fit)]).diameter_um
    return (
        f"The bore in view measures {seen_mm:.2f} mm, {nominal_mm:.2f} mm is expected: another "
        "tool is in view, its nozzle is worn or another one, or the camera was moved since the "
        "pixel scale was learnt. It can be sighted all the same."
    )


def bore_words(size: BoreSize) -> str:
    """Return a bore's diameter with its U, in mm.

    Examples
    --------
    >>> bore_words(BoreSize(diameter_um=412.4, u_um=12.6, out_of_roundness_um=4.2))
    '0.412 mm, U 0.025 mm'
    """
    return f"{1e-3 * size.diameter_um:.3f} mm, U {1e-3 * size.expanded_um:.3f} mm"


def _size_on(scale: PixelScale, rims: Sequence[SeenRim]) -> BoreSize:
    to_um = np.asarray(1e3 * np.linalg.inv(scale.matrix_px_per_mm), dtype=np.float64)
    # A mean diameter needs the mean of both axes' scales.
    relative_u = 0.5 * math.hypot(*scale.relative_u)
    return bore_size(mean_rim(rims), to_um, relative_u * scale.um_per_px)
