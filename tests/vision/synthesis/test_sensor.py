"""Noise, encoding and what the same random state gives."""

import numpy as np
import pytest
from numpy.typing import NDArray

from vision.synthesis import Sensor, expose, noise_dn


def _flat(level: float, size: tuple[int, int] = (400, 500)) -> NDArray[np.float32]:
    return np.full((*size, 3), level, dtype=np.float32)


# EMVA Standard 1288, linear model, worked: K 0.05 DN/e, sigma_d 8 e.
EMVA = Sensor(full_well_e=255.0 / 0.05, read_noise_e=8.0, gamma=1.0, bayer=False)


def test_the_noise_formula_gives_the_worked_values() -> None:
    assert EMVA.gain_dn_per_e == pytest.approx(0.05)
    assert noise_dn(5000.0, EMVA) == pytest.approx(3.5698, abs=5e-5)
    assert 0.05 * 5000.0 / noise_dn(5000.0, EMVA) == pytest.approx(70.03, abs=5e-3)
    assert noise_dn(0.0, EMVA) == pytest.approx(0.4933, abs=5e-5)


@pytest.mark.parametrize("mean_e", [400.0, 1500.0, 2500.0, 4200.0])
def test_a_flat_picture_has_the_noise_of_the_linear_model(mean_e: float) -> None:
    picture = expose(_flat(mean_e / EMVA.full_well_e), EMVA, np.random.default_rng(3))
    # 600 000 values: the standard deviation is known to 0.1 %.
    assert float(picture.std()) == pytest.approx(noise_dn(mean_e, EMVA), rel=0.006)
    assert float(picture.mean()) == pytest.approx(0.05 * mean_e, abs=0.03)


def test_variance_over_mean_gives_the_gain_back() -> None:
    levels = np.array([600.0, 1200.0, 2400.0, 3600.0, 4500.0])
    frames = [expose(_flat(e / 5100.0), EMVA, np.random.default_rng(5)) for e in levels]
    slope = np.polyfit([f.mean() for f in frames], [f.var() for f in frames], 1)[0]
    assert slope == pytest.approx(0.05, rel=0.01)


def test_neighbours_and_colours_have_noise_of_their_own() -> None:
    frame = expose(_flat(0.5), EMVA, np.random.default_rng(7)).astype(np.float64)
    noise = (frame - frame.mean()) / frame.std()
    assert abs(float((noise[:, 1:] * noise[:, :-1]).mean())) < 0.01
    assert abs(float((noise[1:] * noise[:-1]).mean())) < 0.01
    assert abs(float((noise[..., 0] * noise[..., 2]).mean())) < 0.01


def test_a_mosaic_makes_neighbours_alike() -> None:
    frame = expose(_flat(0.5), Sensor(gamma=1.0, bayer=True), np.random.default_rng(7))
    noise = frame[..., 2].astype(np.float64) - frame[..., 2].mean()
    assert float((noise[:, 1:] * noise[:, :-1]).mean() / noise.var()) > 0.2


@pytest.mark.parametrize("bayer", [False, True])
def test_the_mosaic_keeps_colours_and_places(bayer: bool) -> None:
    scene = np.zeros((60, 80, 3), dtype=np.float32)
    scene[:, :40] = (0.1, 0.4, 0.8)
    scene[:, 40:] = (0.7, 0.2, 0.3)
    sensor = Sensor(full_well_e=1e9, read_noise_e=0.0, gamma=1.0, bayer=bayer)
    frame = expose(scene, sensor, np.random.default_rng(0)) / 255.0
    assert frame[30, 20] == pytest.approx([0.1, 0.4, 0.8], abs=0.003)
    assert frame[30, 60] == pytest.approx([0.7, 0.2, 0.3], abs=0.003)


@pytest.mark.parametrize("bayer", [False, True])
def test_the_same_random_state_gives_the_same_picture(bayer: bool) -> None:
    scene, sensor = _flat(0.3, (120, 90)), Sensor(bayer=bayer)
    first = expose(scene, sensor, np.random.default_rng(11))
    assert np.array_equal(first, expose(scene, sensor, np.random.default_rng(11)))
    assert not np.array_equal(first, expose(scene, sensor, np.random.default_rng(12)))


def test_two_frames_of_one_generator_differ() -> None:
    rng = np.random.default_rng(1)
    scene = _flat(0.3, (64, 64))
    assert not np.array_equal(expose(scene, Sensor(), rng), expose(scene, Sensor(), rng))


def test_gamma_encodes_the_light() -> None:
    sensor = Sensor(full_well_e=1e9, read_noise_e=0.0, gamma=2.2, bayer=False)
    frame = expose(_flat(0.2, (8, 8)), sensor, np.random.default_rng(0))
    assert int(frame[4, 4, 1]) == round(255.0 * 0.2 ** (1.0 / 2.2))


@pytest.mark.parametrize("bayer", [False, True])
def test_white_balance_and_exposure_are_gains(bayer: bool) -> None:
    sensor = Sensor(
        full_well_e=1e9,
        read_noise_e=0.0,
        gamma=1.0,
        exposure=0.5,
        white_balance=(2.0, 1.0, 1.5),
        bayer=bayer,
    )
    frame = expose(_flat(0.4, (16, 16)), sensor, np.random.default_rng(0)) / 255.0
    assert frame[8, 8] == pytest.approx([0.4, 0.2, 0.3], abs=0.003)


def test_too_much_light_burns_out_and_none_is_black() -> None:
    sensor = Sensor(exposure=3.0)
    assert expose(_flat(2.0, (20, 20)), sensor, np.random.default_rng(0)).min() == 255
    assert expose(_flat(0.0, (20, 20)), sensor, np.random.default_rng(0)).max() < 60


def test_jpeg_changes_the_picture_and_keeps_its_shape() -> None:
    scene = np.random.default_rng(2).random((48, 64, 3), dtype=np.float32)
    plain = expose(scene, Sensor(), np.random.default_rng(0))
    lossy = expose(scene, Sensor(jpeg_quality=40), np.random.default_rng(0))
    assert lossy.shape == plain.shape
    assert lossy.dtype == np.uint8
    assert 1.0 < float(np.abs(lossy.astype(int) - plain).mean()) < 60.0


def test_the_scene_is_not_altered() -> None:
    scene = _flat(0.5, (30, 30))
    before = scene.copy()
    expose(scene, Sensor(white_balance=(1.4, 1.0, 1.2)), np.random.default_rng(0))
    assert np.array_equal(scene, before)


@pytest.mark.parametrize("shape", [(10, 10), (10, 10, 4), (0, 5, 3)])
def test_a_wrong_shape_is_named(shape: tuple[int, ...]) -> None:
    with pytest.raises(ValueError, match="picture"):
        expose(np.zeros(shape, dtype=np.float32), Sensor(), np.random.default_rng(0))


@pytest.mark.parametrize(
    "changes",
    [
        {"full_well_e": 0.0},
        {"read_noise_e": -1.0},
        {"gamma": 0.0},
        {"exposure": -0.1},
        {"jpeg_quality": 0},
    ],
)
def test_a_sensor_is_checked(changes: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=next(iter(changes))):
        Sensor(**changes)  # type: ignore[arg-type]  # jpeg_quality is an int here


@pytest.mark.parametrize("size", [(1, 1), (3, 3), (5, 7), (4, 4), (65, 129)])
@pytest.mark.parametrize("bayer", [False, True])
def test_any_size_can_be_exposed(size: tuple[int, int], bayer: bool) -> None:
    frame = expose(_flat(0.4, size), Sensor(bayer=bayer), np.random.default_rng(0))
    assert frame.shape == (*size, 3)
