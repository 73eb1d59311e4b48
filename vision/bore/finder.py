"""Find the bore in one frame."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from vision.bore.noise import noise_of
from vision.bore.outermost import outermost_rim
from vision.bore.picture import Picture, Plane, read_picture
from vision.bore.result import BoreFit, BoreRefusal, RadiusPrior
from vision.bore.rim import Rim, fit_rim
from vision.bore.rough import Rough, roughly
from vision.bore.search import Place, search, search_plane
from vision.bore.settings import FinderSettings
from vision.bore.verdict import (
    accept,
    covered,
    is_convincing,
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
    near: PointPx | None = None,
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
        with `size_verified` false.
    near
        Last centre known: looks there first, which is much faster.
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
        fit = _track(picture, near, radius_prior, settings)
        if fit is not None:
            return fit
    return _search(picture, radius_prior, settings)


def _check(prior: RadiusPrior | None, near: PointPx | None) -> None:
    if prior is not None and not (
        np.isfinite(prior.radius_px) and prior.radius_px > 0 and prior.relative_tolerance > 0
    ):
        raise ValueError(f"radius_prior must be positive and finite, got {prior!r}")
    if near is not None and not np.isfinite(near).all():
        raise ValueError(f"near must be finite, got {near!r}")


def _track(
    picture: Picture, near: PointPx, prior: RadiusPrior | None, settings: FinderSettings
) -> BoreFit | None:
    low, high = _radii(prior, settings)
    reach = int(2.2 * high) if prior is not None else 240
    left, top = max(int(near.u) - reach, 0), max(int(near.v) - reach, 0)
    right = min(int(near.u) + reach + 1, picture.width)
    bottom = min(int(near.v) + reach + 1, picture.height)
    if min(right - left, bottom - top) < 16:
        return None
    part = Picture(frame=picture.frame[top:bottom, left:right], full_scale=picture.full_scale)
    places = search(part, low, min(high, reach / 1.5), settings)
    places = [Place(u=p.u + left, v=p.v + top, radius=p.radius, votes=p.votes) for p in places[:4]]
    answer = _judge(picture, places, prior, settings)
    return answer if isinstance(answer, BoreFit) else None


def _radii(prior: RadiusPrior | None, settings: FinderSettings) -> tuple[float, float]:
    if prior is None:
        return settings.smallest_radius_px, settings.largest_radius_px
    # Wider than the prior, so that a wrong size can be named.
    return (
        max(prior.radius_px * (1 - prior.relative_tolerance) * 0.9, 5.0),
        prior.radius_px * (1 + prior.relative_tolerance) * 1.1,
    )


def _search(
    picture: Picture, prior: RadiusPrior | None, settings: FinderSettings
) -> BoreFit | BoreRefusal:
    low, high = _radii(prior, settings)
    answer = _judge(picture, search(picture, low, high, settings), prior, settings)
    if answer is None and prior is not None:
        everything = search(
            picture, settings.smallest_radius_px, settings.largest_radius_px, settings
        )
        answer = _judge(picture, everything, prior, settings)
        if isinstance(answer, BoreFit):
            return answer
    if answer is not None:
        return answer
    return _explain(picture, prior, settings)


def _judge(
    picture: Picture,
    places: list[Place],
    prior: RadiusPrior | None,
    settings: FinderSettings,
) -> BoreFit | BoreRefusal | None:
    """Return the best place's verdict; None where no place holds a rim."""
    rough = _distinct(
        [found for place in places if (found := roughly(picture, place, settings))], prior
    )
    fits: list[tuple[Rough, Rim, float]] = []
    refusals: list[tuple[float, BoreRefusal]] = []
    for one in rough:
        # What could no longer be a rival need not be measured.
        if fits and _worth(one, prior) < settings.rival_score * _worth(fits[0][0], prior):
            break
        noise = noise_of(_around(picture, one))
        rim = fit_rim(picture, one.curve, noise, settings)
        if rim is None:
            continue
        refusal = refuse_rim(rim, noise, picture, prior, settings)
        if refusal is None:
            fits.append((one, rim, noise))
        else:
            refusals.append((_worth(one, prior), refusal))
    if not fits:
        # That one place is not round says nothing of the picture: others will.
        strong = [r for worth, r in refusals if worth > 0.05 and r != no_round_edge()]
        return strong[0] if strong else None
    rivals = _rivals(fits, prior, settings)
    if rivals > 1:
        return several(rivals)
    _, main, noise = fits[0]
    outer = outermost_rim(picture, main, noise, settings)
    rim = outer if refuse_rim(outer, noise, picture, prior, settings) is None else main
    # How sharp the picture is, is read off the main edge: the window of an outer one,
    # with another edge near, is too tight to tell.
    return replace(accept(picture, rim, noise, prior), blur_px=main.blur)


def _distinct(rough: list[Rough], prior: RadiusPrior | None) -> list[Rough]:
    """Return the best few, each once: several places lead to one rim."""
    kept: list[Rough] = []
    for one in sorted(rough, key=lambda r: -_worth(r, prior)):
        c = one.curve
        same = any(
            np.hypot(c.u - k.curve.u, c.v - k.curve.v) < 0.1 * c.radius
            and abs(c.radius - k.curve.radius) < 0.1 * c.radius
            for k in kept
        )
        if not same:
            kept.append(one)
    return kept[:4]


def _worth(rough: Rough, prior: RadiusPrior | None) -> float:
    if prior is None:
        return rough.score
    off = (rough.curve.radius / prior.radius_px - 1.0) / max(prior.relative_tolerance, 0.02)
    return rough.score * float(np.exp(-0.5 * off**2))


def _rivals(
    fits: list[tuple[Rough, Rim, float]], prior: RadiusPrior | None, settings: FinderSettings
) -> int:
    best = fits[0]
    count = 1
    for other in fits[1:]:
        apart = np.hypot(other[1].curve.u - best[1].curve.u, other[1].curve.v - best[1].curve.v)
        # Two bores cannot overlap: one of the two is a drop, a ring or a shadow.
        if apart < 0.9 * (other[1].curve.radius + best[1].curve.radius):
            continue
        if _worth(other[0], prior) > settings.rival_score * _worth(best[0], prior):
            count += 1
    return count


def _around(picture: Picture, rough: Rough) -> Plane:
    c = rough.curve
    reach = 1.5 * c.radius + 8
    left = int(np.clip(c.u - reach, 0, picture.width - 16))
    top = int(np.clip(c.v - reach, 0, picture.height - 16))
    right = int(np.clip(c.u + reach, left + 16, picture.width))
    bottom = int(np.clip(c.v + reach, top + 16, picture.height))
    return picture.cut(left, top, right, bottom)


def _explain(picture: Picture, prior: RadiusPrior | None, settings: FinderSettings) -> BoreRefusal:
    """Say why nothing was found."""
    factor = max(1, max(picture.width, picture.height) // 320)
    plane = picture.reduced(factor)
    light = refuse_light(plane, settings)
    if light is not None:
        return light
    if _is_soft(plane):
        return out_of_focus("No sharp edge is in the picture.")
    if _land_in_view(plane, factor, prior, settings):
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
    inverted = Picture(frame=np.asarray(1.0 - plane, dtype=np.float32), full_scale=1.0)
    for place in search_plane(inverted.frame.astype(np.float32), low, high, settings)[:3]:
        found = roughly(inverted, place, settings)
        if found is None or found.coverage < 0.75 or found.height < 0.06:
            continue
        rim = fit_rim(inverted, found.curve, noise_of(plane), settings)
        if rim is not None and is_convincing(rim, settings):
            return True
    return False
