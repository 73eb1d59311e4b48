"""What a tip may be, and that it stays what it is."""

import numpy as np
import pytest

from vision.synthesis import Drop, Fill, Lamp, Light, Oval, Tip, prepare_tip, ring_of_lamps


def test_one_seed_is_one_tip_and_another_is_another() -> None:
    first, same = (prepare_tip(Tip(seed=4), um_per_px=8.0) for _ in range(2))
    other = prepare_tip(Tip(seed=5), um_per_px=8.0)
    assert np.array_equal(first.near.gain, same.near.gain)
    assert np.array_equal(first.background, same.background)
    assert not np.array_equal(first.near.gain, other.near.gain)


def test_a_drop_leaves_the_metal_under_it_as_it_was() -> None:
    bare = prepare_tip(Tip(seed=4, land_mm=1.4), um_per_px=8.0)
    soiled = prepare_tip(Tip(seed=4, land_mm=1.4, drop=Drop(size_mm=0.1)), um_per_px=8.0)
    assert bare.near.gain.shape == soiled.near.gain.shape
    assert np.array_equal(bare.near.gain, soiled.near.gain)


def test_a_texture_cannot_be_written_to() -> None:
    texture = prepare_tip(Tip(drop=Drop()), um_per_px=10.0)
    assert texture.drop is not None
    for array in (texture.bore, texture.polish, texture.near.tint, texture.drop.cover):
        with pytest.raises(ValueError, match="read-only"):
            array[0, 0] = 0.0


@pytest.mark.parametrize("angle_rad", [0.0, 0.8, 2.4, -1.9])
@pytest.mark.parametrize("extent", [0.03, 0.6])
@pytest.mark.parametrize("size_mm", [0.02, 1.0])
def test_any_drop_fits_on_its_tip(angle_rad: float, extent: float, size_mm: float) -> None:
    drop = Drop(angle_rad=angle_rad, extent=extent, size_mm=size_mm)
    texture = prepare_tip(Tip(drop=drop), um_per_px=12.0)
    assert texture.drop is not None
    half = texture.bore.shape[0] // 2
    assert -half <= texture.drop.rows.start < texture.drop.rows.stop <= half + 1
    assert -half <= texture.drop.columns.start < texture.drop.columns.stop <= half + 1
    edge = texture.drop.cover.copy()
    edge[1:-1, 1:-1] = 0.0
    assert edge.max() == 0.0


@pytest.mark.parametrize("bore_mm", [0.15, 0.4, 1.2])
def test_the_bore_has_the_area_of_its_diameter(bore_mm: float) -> None:
    texture = prepare_tip(Tip(bore_mm=bore_mm, land_mm=2.5 * bore_mm), um_per_px=6.0)
    area_mm2 = float(texture.bore.sum(dtype=np.float64)) * texture.near.texel_mm**2
    assert area_mm2 == pytest.approx(np.pi * bore_mm**2 / 4.0, rel=2e-3)


def test_a_burr_takes_a_little_of_the_bore() -> None:
    plain = float(prepare_tip(Tip(), um_per_px=6.0).bore.sum())
    with_burr = float(prepare_tip(Tip(burr_mm=0.06), um_per_px=6.0).bore.sum())
    assert 0.90 * plain < with_burr < 0.999 * plain


@pytest.mark.parametrize(
    "changes",
    [
        {"bore_mm": 0.0},
        {"land_mm": 0.4},
        {"cone_mm": 0.9},
        {"edge_break_mm": -0.1},
        {"turning_marks": 1.5},
        {"stains": -0.1},
        {"scratches": -1},
        {"burr_mm": 0.3},
        {"land_albedo": (0.1, 0.2)},
        {"eccentricity_mm": (float("nan"), 0.0)},
        {"seed": -1},
    ],
)
def test_a_tip_that_cannot_be_is_refused_by_name(changes: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=next(iter(changes))):
        Tip(**changes)  # type: ignore[arg-type]  # wrong values on purpose


def test_small_parts_are_checked_too() -> None:
    with pytest.raises(ValueError, match="axis_ratio"):
        Oval(axis_ratio=1.2)
    with pytest.raises(ValueError, match="extent"):
        Drop(extent=0.9)
    with pytest.raises(ValueError, match="gap_mm"):
        Fill(albedo=(0.1, 0.1, 0.1), gap_mm=-0.01)
    with pytest.raises(ValueError, match="strength"):
        Lamp(angle_rad=0.0, strength=-1.0)
    with pytest.raises(ValueError, match="lamps"):
        Light(lamps=())
    with pytest.raises(ValueError, match="count"):
        ring_of_lamps(0)
    with pytest.raises(ValueError, match="um_per_px"):
        prepare_tip(Tip(), um_per_px=0.0)
