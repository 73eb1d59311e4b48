"""Sensor: from light to the 8-bit picture that a camera hands over.

Noise follows the linear model of EMVA 1288: the signal in electrons has the
variance of its mean (photon noise) and of the read noise, then gain and
rounding. Photon noise is drawn as a Gaussian, which at the tens of electrons
and more of a lit picture cannot be told from Poisson's law.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from vision.synthesis.checks import require_colour, require_not_negative, require_positive
from vision.synthesis.tip import Bgr

FloatArray = NDArray[np.float32]
ByteArray = NDArray[np.uint8]

_LEVELS = 65535
_FULL_DN = 255.0
_STRIP = 64  # rows; even, so that colours keep their places


def _normal_quantiles() -> FloatArray:
    table = ndtri((np.arange(_LEVELS + 1) + 0.5) / (_LEVELS + 1)).astype(np.float32)
    table.setflags(write=False)
    return table


# A picture of normal numbers by looking up 16 random bits takes a quarter of
# the time of drawing them, which is what lets a large picture be live. The
# variance is short by 2e-5, the tails end at 4.3 sigma.
_NORMAL: Final = _normal_quantiles()


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """A camera's sensor and what its firmware does to the picture.

    Attributes
    ----------
    full_well_e
        Electrons at full scale (255): the gain is 255 / full_well_e DN per
        electron. Few electrons make a noisy picture.
    read_noise_e
        Standard deviation of the read noise in electrons.
    exposure
        Factor on the light: 1 brings light of 1.0 to full scale.
    gamma
        The picture is encoded as the light to the power 1 / gamma; 1 is
        linear.
    white_balance
        Gains of blue, green, red.
    jpeg_quality
        1 to 100, or None for a picture without JPEG losses.
    bayer
        Whether each pixel sees one colour only and the others are
        interpolated.
    """

    full_well_e: float = 9000.0
    read_noise_e: float = 9.0
    exposure: float = 1.0
    gamma: float = 2.2
    white_balance: Bgr = (1.0, 1.0, 1.0)
    jpeg_quality: int | None = None
    bayer: bool = True

    def __post_init__(self) -> None:
        """Check the fields."""
        require_positive("full_well_e", self.full_well_e)
        require_not_negative("read_noise_e", self.read_noise_e)
        require_not_negative("exposure", self.exposure)
        require_positive("gamma", self.gamma)
        require_colour("white_balance", self.white_balance)
        if self.jpeg_quality is not None and not 1 <= self.jpeg_quality <= 100:
            raise ValueError(f"jpeg_quality must lie in 1..100, got {self.jpeg_quality!r}")

    @property
    def gain_dn_per_e(self) -> float:
        """Digital numbers (of 255) per electron."""
        return _FULL_DN / self.full_well_e


def noise_dn(mean_e: float, sensor: Sensor) -> float:
    """Return the noise of one linear 8-bit pixel, one standard deviation, in DN.

    References
    ----------
    EMVA Standard 1288, linear model: sigma_y^2 = K^2 (sigma_d^2 + mu_e) + 1/12.
    """
    require_not_negative("mean_e", mean_e)
    gain = sensor.gain_dn_per_e
    return float(np.sqrt(gain**2 * (sensor.read_noise_e**2 + mean_e) + 1.0 / 12.0))


def normal_like(shape: tuple[int, ...], rng: np.random.Generator) -> FloatArray:
    """Return independent standard normal numbers."""
    count = int(np.prod(shape))
    bits = rng.integers(0, 2**64, -(-count // 4), dtype=np.uint64).view(np.uint16)
    return _NORMAL.take(bits[:count]).reshape(shape)


def expose(picture: FloatArray, sensor: Sensor, rng: np.random.Generator) -> ByteArray:
    """Return the 8-bit picture of a scene.

    Parameters
    ----------
    picture
        Shape (H, W, 3), linear BGR; 1 is full scale at an exposure of 1. It is
        not altered.
    sensor
        The camera.
    rng
        Where the noise comes from; the same state gives the same picture.

    Returns
    -------
    array
        Shape (H, W, 3), uint8, BGR.
    """
    if picture.ndim != 3 or picture.shape[2] != 3 or 0 in picture.shape:
        raise ValueError(f"picture must have the shape (H, W, 3), got {picture.shape}")
    light = np.asarray(picture, dtype=np.float32)
    # OpenCV's interpolation needs a whole 2x2 cell in each direction.
    mosaic = sensor.bayer and min(light.shape[:2]) >= 4
    raw = _mosaic(light) if mosaic else light
    read = _read_out(raw, sensor, rng, mosaic=mosaic)
    linear = np.asarray(cv2.cvtColor(read, cv2.COLOR_BayerBG2BGR)) if mosaic else read
    encoded = _encoding(sensor.gamma).take(linear.astype(np.uint16, copy=False))
    return encoded if sensor.jpeg_quality is None else _through_jpeg(encoded, sensor.jpeg_quality)


def _mosaic(light: FloatArray) -> FloatArray:
    """Keep one colour a pixel: red at even rows and columns (RGGB)."""
    raw = np.empty(light.shape[:2], dtype=np.float32)
    raw[0::2, 0::2] = light[0::2, 0::2, 2]
    raw[0::2, 1::2] = light[0::2, 1::2, 1]
    raw[1::2, 0::2] = light[1::2, 0::2, 1]
    raw[1::2, 1::2] = light[1::2, 1::2, 0]
    return raw


def _read_out(
    raw: FloatArray, sensor: Sensor, rng: np.random.Generator, *, mosaic: bool
) -> NDArray[np.uint16]:
    """Return 16-bit linear values with noise, after white balance."""
    out = np.empty(raw.shape, dtype=np.uint16)
    # In strips that stay in the processor's cache: half the time for a large picture.
    for top in range(0, raw.shape[0], _STRIP):
        strip = slice(top, top + _STRIP)
        out[strip] = _read_strip(raw[strip], sensor, rng, mosaic=mosaic)
    return out


def _read_strip(
    raw: FloatArray, sensor: Sensor, rng: np.random.Generator, *, mosaic: bool
) -> FloatArray:
    well = sensor.full_well_e
    electrons = raw * np.float32(sensor.exposure * well)
    np.maximum(electrons, 0.0, out=electrons)
    noise = np.sqrt(electrons + np.float32(sensor.read_noise_e**2))
    noise *= normal_like(raw.shape, rng)
    electrons += noise
    # The well is full before the gains of the white balance are applied.
    np.clip(electrons, 0.0, np.float32(well), out=electrons)
    _balance(electrons, sensor.white_balance, mosaic=mosaic)
    electrons *= np.float32(_LEVELS / well)
    electrons += np.float32(0.5)
    np.minimum(electrons, np.float32(_LEVELS), out=electrons)
    return electrons


def _balance(values: FloatArray, gains: Bgr, *, mosaic: bool) -> None:
    """Multiply the colours by their gains, in place."""
    if gains == (1.0, 1.0, 1.0):
        return
    blue, green, red = (np.float32(gain) for gain in gains)
    if not mosaic:
        values *= np.array([blue, green, red], dtype=np.float32)
        return
    values[0::2, 0::2] *= red
    values[0::2, 1::2] *= green
    values[1::2, 0::2] *= green
    values[1::2, 1::2] *= blue


def _encoding(gamma: float) -> ByteArray:
    """Return the table from 16-bit linear to 8-bit encoded values."""
    linear = np.arange(_LEVELS + 1, dtype=np.float32) / np.float32(_LEVELS)
    table: ByteArray = np.rint(_FULL_DN * linear ** np.float32(1.0 / gamma)).astype(np.uint8)
    return table


def _through_jpeg(picture: ByteArray, quality: int) -> ByteArray:
    done, code = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])
    if not done:
        raise RuntimeError("OpenCV could not write a JPEG of the picture")
    return np.asarray(cv2.imdecode(code, cv2.IMREAD_COLOR), dtype=np.uint8)
