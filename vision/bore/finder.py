"""Find the bore in one frame."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from vision.bore.edge_break import rim_beyond
from vision.bore.noise import noise_of
from vision.bore.other_size import may_be_of_another_size, of_another_size, prior_at, sized
from vision.bore.picture import Picture, Plane, Planes, halved, read_picture
from vision.bore.rays import Curve
from vision.bore.result import BoreFit, BoreRefusal, RadiusPrior
from vision.bore.rim import fit_rim, follow_rim
from vision.bore.rivals import Candidate, lies_on_another, may_be_rival, the_bore, worth
from vision.bore.rough import Rough, roughly
from vision.bore.search import Place, search
from vision.bore.settings import FinderSettings
from vision.bore.verdict import (
    accept,
    covered,
    is_convincing,
    is_plain,
    no_round_edge,
    out_of_focus,
    refuse_light,
    refuse_rim,
    several,
)
from vision.geometry import PointPx

_DEFAULTS = FinderSettings()


def find_bore(
    frame: object,
    *,
    radius_prior: RadiusPrior | None = None,
    near: PointPx | BoreFit | None = None,
    settings: FinderSettings = _DEFAULTS,
) -> BoreFit | BoreRefusal:
    """Find the bore's centre in a frame, or say why there is none.

    Parameters
    ----------
    frame
        Shape (H, W) or (H, W, 3) in BGR, 8 or 16 bits, or finite floats (parts of
        full scale, or 8 or 16 bits averaged). Any strides; it is not altered.
    radius_prior
        What is known of the radius. Without it a round hole of any size may pass,
        with `size_verified` false. What contradicts it is refused, or found with a
        note where the prior is not strict.
    near
        Last centre known, or the last fit: looks there first, which is faster.
    settings
        The finder's constants.

    Returns
    -------
    BoreFit or BoreRefusal
        A refusal names what is wrong with the picture; it is an answer, no error.
    """
    picture = read_picture(frame)
    if isinstance(picture, BoreRefusal):
        return picture
    _check(radius_prior, near)
    if near is not None:
        fit = _track(picture, near, prior_at(near, radius_prior), settings)
        if fit is not None:
            return sized(fit, radius_prior)
    planes = halved(picture.grey(), settings.smallest_half_px)
    answer = _search(planes, radius_prior, settings)
    if may_be_of_another_size(answer, radius_prior):
        return of_another_size(answer, _search(planes, None, settings), radius_prior)
    return answer


def _check(prior: RadiusPrior | None, near: PointPx | BoreFit | None) -> None:
    if prior is not None:
        numbers = (prior.radius_px, prior.relative_tolerance)
        if not (np.isfinite(numbers).all() and min(numbers) > 0):
            raise ValueError(f"radius_prior must be positive and finite, got {prior!r}")
    if isinstance(near, BoreFit):
        of_fit = (*near.centre_px, near.radius_px, near.blur_px, *near.semi_axes_px)
        if not (np.isfinite(of_fit).all() and near.radius_px > 0 and near.blur_px > 0):
            raise ValueError(f"near must be finite, got {near!r}")
    elif near is not None and not np.isfinite(near).all():
        raise ValueError(f"near must be finite, got {near!r}")


def _track(
    picture: Picture,
    near: PointPx | BoreFit,
    prior: RadiusPrior | None,
    settings: FinderSettings,
) -> BoreFit | None:
    """Look where the bore was, in a part of the picture; None where it is not there."""
    if isinstance(near, BoreFit):
        point, reach = near.centre_px, int(2.0 * near.radius_px + 10.0)
    else:
        point = near
        reach = int(2.2 * _radii(prior, settings)[1]) if prior is not None else 240
    left, top = max(int(point.u) - reach, 0), max(int(point.v) - reach, 0)
    right = min(int(point.u) + reach + 1, picture.width)
    bottom = min(int(point.v) + reach + 1, picture.height)
    if min(right - left, bottom - top) < 16:
        return None
    part = picture.part(left, top, right, bottom).grey()
    if isinstance(near, BoreFit):
        answer: BoreFit | BoreRefusal | None = _follow(
            part, _shifted(near, -left, -top), prior, settings
        )
    else:
        low, high = _radii(prior, settings)
        planes = halved(part, settings.smallest_half_px)
        places = search(planes, low, min(high, reach / 1.5), settings)[:5]
        answer = _judge(planes, places, prior, settings)
    return _shifted(answer, left, top) if isinstance(answer, BoreFit) else None


def _follow(
    picture: Picture, last: BoreFit, prior: RadiusPrior | None, settings: FinderSettings
) -> BoreFit | None:
    """Measure the rim that was found in the last picture, where it is about as it was."""
    e = 0.5 * (last.semi_axes_px[0] - last.semi_axes_px[1])
    curve = Curve(
        u=last.centre_px.u,
        v=last.centre_px.v,
        radius=last.radius_px,
        e_cos=e * float(np.cos(2.0 * last.angle_rad)),
        e_sin=e * float(np.sin(2.0 * last.angle_rad)),
    )
    noise = noise_of(_around(picture, curve))
    rim = follow_rim(picture, curve, last.blur_px, noise, settings)
    if rim is None or abs(rim.curve.radius / last.radius_px - 1.0) > settings.same_radius:
        return None
    if refuse_rim(rim, noise, picture, prior, settings) is not None:
        return None
    return accept(rim, noise, prior, settings)


def _shifted(fit: BoreFit, left: int, top: int) -> BoreFit:
    rim = fit.rim_px + np.array([left, top])
    rim.setflags(write=False)
    centre = PointPx(fit.centre_px.u + left, fit.centre_px.v + top)
    return replace(fit, centre_px=centre, rim_px=rim)


def _radii(prior: RadiusPrior | None, settings: FinderSettings) -> tuple[float, float]:
    if prior is None:
        return settings.smallest_radius_px, settings.largest_radius_px
    # Wider than the prior, so that a wrong size can be named.
    return (
        max(prior.radius_px * (1 - prior.relative_tolerance) * 0.9, 5.0),
        prior.radius_px * (1 + prior.relative_tolerance) * 1.1,
    )


def _search(
    planes: Planes, prior: RadiusPrior | None, settings: FinderSettings
) -> BoreFit | BoreRefusal:
    low, high = _radii(prior, settings)
    answer = _judge(planes, search(planes, low, high, settings), prior, settings)
    if answer is None and prior is not None:
        everything = search(
            planes, settings.smallest_radius_px, settings.largest_radius_px, settings
        )
        answer = _judge(planes, everything, prior, settings)
        if isinstance(answer, BoreFit):
            return answer
    if answer is not None:
        return answer
    return _explain(planes, prior, settings)


def _judge(
    planes: Planes,
    places: list[Place],
    prior: RadiusPrior | None,
    settings: FinderSettings,
) -> BoreFit | BoreRefusal | None:
    """Return the best place's verdict; None where no place holds a rim."""
    picture = planes.whole
    rough = _distinct(roughly(planes, places, settings), prior)
    candidates: list[Candidate] = []
    refused: list[tuple[Rough, BoreRefusal]] = []
    for one in rough:
        # What could no longer be a rival need not be measured.
        if candidates and not may_be_rival(one, candidates[0], prior, settings):
            continue
        noise = noise_of(_around(picture, one.curve))
        rim = fit_rim(picture, one.curve, noise, settings)
        if rim is None:
            continue
        refusal = refuse_rim(rim, noise, picture, prior, settings)
        beyond = rim if refusal is None else rim_beyond(picture, rim, noise, settings)
        if (
            beyond is not rim
            and is_plain(beyond, settings)
            and refuse_rim(beyond, noise, picture, prior, settings) is None
        ):
            candidates.append(Candidate(rough=one, rim=beyond, noise=noise, beyond=True))
        elif refusal is None:
            candidates.append(Candidate(rough=one, rim=rim, noise=noise))
        else:
            refused.append((one, refusal))
    if not candidates:
        # That one place is not round says nothing of the picture: others will.
        strong = [r for o, r in refused if o.score > 0.05 and r != no_round_edge()]
        return strong[0] if strong else None
    if lies_on_another(candidates[0], [one for one, _ in refused], prior, settings):
        return covered("A drop hides too much of the bore's rim.")
    bore = the_bore(picture, candidates, prior, settings)
    if isinstance(bore, int):
        return several(bore)
    return _measured(picture, bore, prior, settings)


def _measured(
    picture: Picture, bore: Candidate, prior: RadiusPrior | None, settings: FinderSettings
) -> BoreFit:
    main, noise = bore.rim, bore.noise
    beyond = main if bore.beyond else rim_beyond(picture, main, noise, settings)
    changed = beyond is not main and refuse_rim(beyond, noise, picture, prior, settings) is None
    rim = beyond if changed else main
    # How sharp the picture is, is read off the main edge: the window of an outer one,
    # with another edge near, is too tight to tell.
    return replace(accept(rim, noise, prior, settings), blur_px=main.blur)


def _distinct(rough: list[Rough], prior: RadiusPrior | None) -> list[Rough]:
    """Return the best few, each once: several places lead to one rim."""
    kept: list[Rough] = []
    for one in sorted(rough, key=lambda r: -worth(r, prior)):
        c = one.curve
        same = any(
            np.hypot(c.u - k.curve.u, c.v - k.curve.v) < 0.1 * c.radius
            and abs(c.radius - k.curve.radius) < 0.1 * c.radius
            for k in kept
        )
        if not same:
            kept.append(one)
    return kept[:6]


def _around(picture: Picture, c: Curve) -> Plane:
    reach = 1.5 * c.radius + 8
    left = int(np.clip(c.u - reach, 0, picture.width - 16))
    top = int(np.clip(c.v - reach, 0, picture.height - 16))
    right = int(np.clip(c.u + reach, left + 16, picture.width))
    bottom = int(np.clip(c.v + reach, top + 16, picture.height))
    return picture.cut(left, top, right, bottom)


def _explain(planes: Planes, prior: RadiusPrior | None, settings: FinderSettings) -> BoreRefusal:
    """Say why nothing was found."""
    level = 0
    while (
        level + 1 < len(planes.pictures)
        and max(planes.pictures[level].width, planes.pictures[level].height) > 400
    ):
        level += 1
    picture = planes.pictures[level]
    plane = picture.cut(0, 0, picture.width, picture.height)
    light = refuse_light(plane, settings)
    if light is not None:
        return light
    if _is_soft(plane):
        return out_of_focus("No sharp edge is in the picture.")
    if _land_in_view(plane, 2**level, prior, settings):
        return covered("The land of a nozzle is seen, but no bore in it.")
    return no_round_edge()


def _is_soft(plane: Plane) -> bool:
    """Whether a picture varies over wide distances but nowhere over short ones."""
    # What changes over 4 px against what changes over 20 px.
    fine = cv2.GaussianBlur(plane - cv2.GaussianBlur(plane, (0, 0), 2.0), (0, 0), 1.0)
    spread = float(np.quantile(plane, 0.98) - np.quantile(plane, 0.02))
    noise = noise_of(plane)
    return (
        spread > max(0.05, 8 * noise)
        and float(np.quantile(np.abs(fine), 0.998)) < max(0.02 * spread, 0.0) + 2.0 * 0.25 * noise
    )


def _land_in_view(
    plane: Plane, factor: int, prior: RadiusPrior | None, settings: FinderSettings
) -> bool:
    if prior is None:
        low, high = settings.smallest_radius_px * 1.5 / factor, 0.45 * min(plane.shape)
    else:
        low, high = 1.4 * prior.radius_px / factor, 4.0 * prior.radius_px / factor
    low = max(low, 6.0)
    high = min(high, 0.48 * min(plane.shape))
    if low >= high:
        return False
    inverted = halved(Picture(frame=1.0 - plane, full_scale=1.0), settings.smallest_half_px)
    for found in roughly(inverted, search(inverted, low, high, settings)[:3], settings):
        if found.coverage < 0.75 or found.height < 0.06:
            continue
        rim = fit_rim(inverted.whole, found.curve, noise_of(plane), settings)
        if rim is not None and is_convincing(rim, settings):
            return True
    return False
