"""Job files: from the file on disk, through its frames, to offsets."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from app.cameras import read_image
from app.dialects.values import Layout, NozzleVectorMm, OffsetMm
from app.errors import InputError
from app.job.checks import Finding, Limits, check, doubt_words
from app.job.job_file import DEFAULT_SIGMA_PX, JobFile, JobSighting, parse_job_text
from app.job.observations import Evidence, Observation, number_pickups
from app.job.offsets import Solution, learn_scale_from, solve
from app.job.profile import DEFAULT_TOLERANCE_MM, VECTOR_LIMIT_MM
from app.job.stored import StoredOffsets, expected_vectors_mm, stored_findings, stored_offsets
from vision.bore import BoreRefusal, find_bore
from vision.geometry import CovPx2, PointPx
from vision.pixel_scale import ScaleRefusal


@dataclass(frozen=True, slots=True, kw_only=True)
class JobResult:
    """A job file worked out; `stored` is None where the file names no dialect."""

    evidence: Evidence
    solution: Solution
    findings: tuple[Finding, ...]
    stored: StoredOffsets | None


def solve_job_file(path: Path) -> JobResult:
    """Return the offsets of a job file.

    Raises
    ------
    InputError
        With file, field and value: the file, a frame or the jogs cannot be used.
    """
    try:
        return _solve(read_job(path), path)
    except InputError as error:
        if error.file is not None:
            raise
        # Whoever reads fields and names of dialects does not know of the file.
        raise InputError(
            f"{path}: {error.message}",
            code=error.code,
            file=str(path),
            path=error.path,
            value=error.value,
        ) from error


def _solve(job: JobFile, path: Path) -> JobResult:
    evidence = Evidence(
        reference_tool=job.reference_tool,
        figures=job.figures,
        scale_jogs=_observe(job, job.scale_jogs, path),
        sightings=_observe(job, job.sightings, path),
    )
    scale = learn_scale_from(evidence)
    if isinstance(scale, ScaleRefusal):
        raise _scale_error(scale, evidence, path)
    solution = solve(evidence, scale)
    findings = (*check(evidence, solution, _limits(job)), *_display_findings(job))
    stored = None
    if job.dialect is not None:
        stored = stored_offsets(job.dialect, job.stored_raw, job.reference_tool, solution)
        findings = (*findings, *stored_findings(job.dialect, stored.old, stored.new))
    return JobResult(evidence=evidence, solution=solution, findings=findings, stored=stored)


def read_job(path: Path) -> JobFile:
    """Read and check a job file."""
    try:
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise InputError(
            f"{path} is not text in UTF-8; a job file is JSON in UTF-8.",
            code="not-json",
            file=str(path),
        ) from error
    except OSError as error:
        raise InputError(
            f"{path} cannot be read: {error.strerror or error}.",
            code="file-unreadable",
            file=str(path),
        ) from error
    return parse_job_text(text, file=str(path))


def _observe(
    job: JobFile, sightings: tuple[JobSighting, ...], path: Path
) -> tuple[Observation, ...]:
    """Measure the frames of what counts; struck entries are left out unread."""
    pickups = number_pickups(tuple(s.tool for s in sightings), tuple(False for _ in sightings))
    return tuple(
        _observation(s, n, path) for s, n in zip(sightings, pickups, strict=True) if not s.struck
    )


def _observation(sighting: JobSighting, pickup: int, path: Path) -> Observation:
    if sighting.centre_px is not None:
        sigma = sighting.sigma_px or DEFAULT_SIGMA_PX
        return _made(
            sighting,
            pickup,
            sighting.centre_px,
            CovPx2(sigma**2, 0.0, sigma**2),
            CovPx2(0.0, 0.0, 0.0),
        )
    assert sighting.frame is not None
    where = f"{sighting.path}.frame"
    try:
        image = read_image(path.parent / sighting.frame)
    except InputError as error:
        raise InputError(
            f"{path}: {where}: {error.message}",
            code=error.code,
            file=str(path),
            path=where,
            value=sighting.frame,
        ) from error
    fit = find_bore(image)
    if isinstance(fit, BoreRefusal):
        raise InputError(
            f"{path}: {where}: no bore was found in {sighting.frame}: {fit.message} {fit.remedy}",
            code=f"refused-{fit.reason.value}",
            file=str(path),
            path=where,
            value=sighting.frame,
        )
    temporal, static = fit.temporal_cov_px2, fit.static_cov_px2
    if sighting.sigma_px is not None:
        # Who states a sigma beside a frame knows more of the picture than it shows.
        temporal, static = CovPx2(sighting.sigma_px**2, 0.0, sighting.sigma_px**2), CovPx2(0, 0, 0)
    return _made(
        sighting, pickup, fit.centre_px, temporal, static, radius=fit.radius_px, blur=fit.blur_px
    )


def _made(
    sighting: JobSighting,
    pickup: int,
    centre: PointPx,
    temporal: CovPx2,
    static: CovPx2,
    *,
    radius: float | None = None,
    blur: float | None = None,
) -> Observation:
    return Observation(
        path=sighting.path,
        tool=sighting.tool,
        shown_mm=sighting.position,
        in_display_mm=sighting.in_display_mm,
        approach=sighting.approach,
        centre_px=centre,
        temporal_cov_px2=temporal,
        static_cov_px2=static,
        radius_px=radius,
        blur_px=blur,
        pickup=pickup,
    )


def _scale_error(refusal: ScaleRefusal, evidence: Evidence, path: Path) -> InputError:
    """Return the error for jogs that give no scale, naming the entry where one is to blame."""
    where, value = "scale_jogs", None
    message = refusal.sentence
    if refusal.doubtful:
        entry = refusal.doubtful[0]
        where = f"{evidence.scale_jogs[entry.index].path}.position_mm"
        value = [part for part in evidence.scale_jogs[entry.index].shown_mm if part is not None]
        words = doubt_words(refusal.doubtful, evidence.scale_jogs, 3)
        # In place of the refusal's own message, which does not know what the display contains.
        message = f"{words}. {refusal.remedy[:1].upper()}{refusal.remedy[1:]}."
    return InputError(
        f"{path}: {where}: {message}",
        code=f"scale-{refusal.reason.value}",
        file=str(path),
        path=where,
        value=value,
    )


def _limits(job: JobFile) -> Limits:
    """Expect each nozzle where the stored offset says; without a layout nothing is expected."""
    expected: dict[int, NozzleVectorMm] = {}
    limit = math.inf if job.layout is None else VECTOR_LIMIT_MM[job.layout]
    if job.dialect is not None and job.stored_raw:
        expected = expected_vectors_mm(job.dialect, job.stored_raw, job.reference_tool)
    elif job.layout in {Layout.FIXED_NOZZLES, Layout.LIFTING_NOZZLE}:
        # How far apart such nozzles stand by design is not in the file.
        limit = math.inf
    return Limits(
        tolerance_mm=DEFAULT_TOLERANCE_MM,
        vector_limit_mm=limit,
        expected_mm=expected,
        layout=job.layout,
    )


def _display_findings(job: JobFile) -> tuple[Finding, ...]:
    silent = [s for s in job.sightings if not (s.struck or s.says_in_display)]
    stored = {tool for tool, raw in job.stored_raw.items() if raw != OffsetMm()}
    doubtful = sorted({s.tool for s in silent} & stored)
    if not doubtful:
        return ()
    names = ", ".join(str(tool) for tool in doubtful)
    return (
        Finding(
            code="display-without-offset",
            message=f"Offsets are stored for tool {names}, but its sightings do not say how much "
            "of that the display contains (in_display_mm): taken as nothing.",
            path="sightings",
        ),
    )
