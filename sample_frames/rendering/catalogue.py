"""Which single frames there are: what each shows, and what a finder should make of it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from rendering.camera import Microscope
from rendering.scene import HARDENED_STEEL, Drop, Plug, View
from rendering.sensor import Sensor
from rendering.shape import Tip
from rendering.surface import Finish

RING = (1.1, 0.5, 1.5, 0.9, 0.35, 0.8, 1.3, 0.7)
"""Lamps of one ring are never alike."""

BLACK = (0.012, 0.012, 0.013)
WHITE = (0.75, 0.74, 0.70)
ORANGE = (0.75, 0.22, 0.03)
BLUE = (0.03, 0.10, 0.42)


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """One frame to be made.

    Attributes
    ----------
    file
        Its name; the ending says how it is stored.
    view
        What is seen.
    conditions
        Words for what is special about it.
    unusable_because
        Why no bore should be found, as one of the finder's reasons; None for a
        frame in which it should.
    land_level
        Linear brightness that the land gets, in parts of full scale.
    sensor
        The sensor; its exposure is set by `land_level`.
    quality
        Of the JPEG.
    samples
        Light paths a pixel.
    """

    file: str
    view: View
    conditions: tuple[str, ...]
    unusable_because: str | None = None
    land_level: float = 0.45
    sensor: Sensor = field(default_factory=Sensor)
    quality: int = 93
    samples: int = 32


def single_frames() -> tuple[Frame, ...]:
    """Return all single frames, usable ones first."""
    return (*_plain(), *_light(), *_lens_and_pose(), *_plastic(), *_worn(), *_unusable())


def _view(
    seed: int,
    *,
    um: float = 6.0,
    at: tuple[float, float, float] = (0.13, -0.09, 0.0),
    size: tuple[int, int] = (640, 480),
    bore: float = 0.4,
    land: float = 1.0,
    turn: float = 0.0,
    **rest: object,
) -> View:
    camera = Microscope(um_per_px=um, size_px=size, rotation_deg=turn)
    tip = Tip(bore_mm=bore, land_mm=land, seed=seed)
    lamps = RING[seed % 8 :] + RING[: seed % 8]
    # No nozzle hangs quite straight.
    view = View(
        microscope=camera,
        tip=tip,
        tip_mm=at,
        tip_tilt_deg=0.4 + 0.37 * seed % 1.2,
        tip_tilt_towards_deg=137.0 * seed,
        lamps=lamps,
        seed=seed,
    )
    return replace(view, **rest)  # type: ignore[arg-type]  # the fields of View, by name


def _plain() -> tuple[Frame, ...]:
    wide = (1280, 960)
    return (
        Frame(file="brass-040-clean.png", view=_view(1), conditions=("clean",)),
        Frame(
            file="brass-025-clean.jpg",
            view=_view(2, um=4.5, bore=0.25, land=0.8, at=(-0.11, 0.21, 0.0), turn=8.0),
            conditions=("clean", "small bore"),
        ),
        Frame(
            file="brass-025-far.jpg",
            view=_view(3, um=8.0, bore=0.25, land=0.75, at=(0.41, 0.32, 0.0), turn=-4.0),
            conditions=("small bore", "radius of some 16 px"),
        ),
        Frame(
            file="brass-060-clean.jpg",
            view=_view(4, um=5.5, bore=0.6, land=1.3, at=(-0.22, 0.04, 0.01), turn=15.0),
            conditions=("clean",),
        ),
        Frame(
            file="brass-080-large.jpg",
            view=_view(5, um=4.5, bore=0.8, land=1.6, at=(0.31, -0.27, 0.0), size=wide),
            conditions=("clean", "1280 x 960"),
            samples=20,
        ),
        Frame(
            file="brass-040-large.jpg",
            view=_view(6, um=5.0, at=(-0.42, 0.35, 0.0), size=wide, turn=-11.0),
            conditions=("clean", "1280 x 960"),
            samples=20,
        ),
        Frame(
            file="brass-040-hexagon.jpg",
            view=_view(7, um=8.0, at=(0.2, 0.1, 0.0), tip=Tip(land_mm=0.9, cone_deg=50.0, seed=7)),
            conditions=("wide view", "cone and hexagon in view"),
        ),
    )


def _light() -> tuple[Frame, ...]:
    small_lamps = (1.0, 1.5, 0.5, 1.2, 1.0, 0.7, 1.4, 0.9)
    return (
        Frame(
            file="brass-040-strong-light.jpg",
            view=_view(11, at=(0.05, 0.17, 0.0)),
            conditions=("strongly lit", "land partly burnt out"),
            land_level=0.95,
        ),
        Frame(
            file="brass-040-one-sided.jpg",
            view=_view(
                12, at=(-0.16, 0.1, 0.0), lamps=(1.0, 0.6, 0, 0, 0, 0, 0, 0), side_lamp=(1.0, 20.0)
            ),
            conditions=("one-sided light", "lit crescent on the broken edge"),
        ),
        Frame(
            file="brass-060-one-sided.jpg",
            view=_view(
                13,
                bore=0.6,
                land=1.2,
                tip=Tip(bore_mm=0.6, land_mm=1.2, edge_break_mm=0.035, seed=13),
                at=(0.12, 0.2, 0.0),
                lamps=(0, 0, 0, 0.7, 1.0, 0.2, 0, 0),
                side_lamp=(1.5, 230.0),
                room=0.4,
            ),
            conditions=("one-sided light", "lit crescent on the broken edge"),
        ),
        Frame(
            file="brass-040-glints.jpg",
            view=_view(
                14,
                microscope=Microscope(ring_radius_mm=3.6),
                roughness=0.035,
                lamp_radius_mm=0.6,
                lamps=small_lamps,
                tip_tilt_deg=3.2,
                tip_tilt_towards_deg=70.0,
                finish=Finish(groove_um=1.3, scratches=20),
            ),
            conditions=("glints", "lamps mirrored in the land", "tilted 3.2 deg"),
        ),
        Frame(
            file="brass-025-glints.jpg",
            view=_view(
                15,
                bore=0.25,
                land=0.9,
                microscope=Microscope(um_per_px=5.0, ring_radius_mm=3.6, rotation_deg=14.0),
                roughness=0.04,
                lamp_radius_mm=0.5,
                lamps=small_lamps[::-1],
                tip_tilt_deg=2.6,
                tip_tilt_towards_deg=-140.0,
                finish=Finish(groove_um=1.1, pitch_um=30.0, scratches=26),
            ),
            conditions=("glints", "lamps mirrored in the land", "tilted 2.6 deg", "small bore"),
        ),
        Frame(
            file="brass-040-dark-noisy.jpg",
            view=_view(16, at=(0.19, 0.06, 0.0)),
            conditions=("dark", "noisy"),
            land_level=0.06,
            sensor=Sensor(full_well=900.0, read_noise=9.0),
        ),
        Frame(
            file="brass-040-jpeg60.jpg",
            view=_view(17, at=(-0.07, -0.13, 0.0), turn=5.0),
            conditions=("JPEG quality 60",),
            quality=60,
        ),
    )


def _lens_and_pose() -> tuple[Frame, ...]:
    return (
        Frame(
            file="brass-040-soft.jpg",
            view=_view(21, at=(0.1, 0.12, -0.18)),
            conditions=("defocused by 0.18 mm",),
        ),
        Frame(
            file="brass-060-softer.jpg",
            view=_view(22, um=6.5, bore=0.6, land=1.25, at=(-0.17, 0.08, 0.35)),
            conditions=("defocused by 0.35 mm",),
        ),
        Frame(
            file="brass-040-tilted.jpg",
            view=_view(23, tip_tilt_deg=4.0, tip_tilt_towards_deg=35.0, at=(0.03, -0.2, 0.0)),
            conditions=("tilted 4 deg",),
        ),
        Frame(
            file="steel-080-tilted.jpg",
            view=_view(
                24,
                um=6.5,
                bore=0.8,
                land=1.5,
                at=(0.1, 0.1, 0.0),
                metal=HARDENED_STEEL,
                tip_tilt_deg=3.0,
                tip_tilt_towards_deg=200.0,
            ),
            conditions=("tilted 3 deg", "hardened steel"),
            land_level=0.2,
        ),
        Frame(
            file="brass-040-near-the-edge.jpg",
            view=_view(25, at=(1.52, -1.05, 0.0)),
            conditions=("near the corner of the frame",),
        ),
    )


def _plastic() -> tuple[Frame, ...]:
    return (
        Frame(
            file="brass-040-dark-plastic.jpg",
            view=_view(31, plug=Plug(colour=BLACK, recess_mm=0.05, bulge_mm=0.03)),
            conditions=("bore filled with dark plastic",),
        ),
        Frame(
            file="brass-040-bright-plastic.jpg",
            view=_view(
                32, at=(-0.2, 0.15, 0.0), plug=Plug(colour=WHITE, recess_mm=0.02, bulge_mm=0.01)
            ),
            conditions=("bore filled with bright plastic",),
            land_level=0.3,
        ),
        Frame(
            file="steel-040-white-plastic.jpg",
            view=_view(
                37,
                at=(0.08, -0.16, 0.0),
                metal=HARDENED_STEEL,
                roughness=0.2,
                plug=Plug(colour=WHITE, recess_mm=0.015, bulge_mm=0.015, gap_mm=0.01),
            ),
            conditions=("bore filled with bright plastic", "plastic brighter than the land"),
            land_level=0.16,
        ),
        Frame(
            file="brass-060-orange-plastic.jpg",
            view=_view(
                33,
                bore=0.6,
                land=1.2,
                at=(0.15, 0.02, 0.0),
                plug=Plug(colour=ORANGE, recess_mm=0.12, bulge_mm=-0.06, gap_mm=0.012),
            ),
            conditions=("bore filled with bright plastic", "gap at the wall"),
        ),
        Frame(
            file="brass-040-drop.jpg",
            view=_view(
                34,
                at=(0.02, 0.14, 0.0),
                drops=(
                    Drop(
                        colour=BLUE, centre_mm=(0.24, 0.06, -0.01), semi_axes_mm=(0.1, 0.12, 0.06)
                    ),
                ),
            ),
            conditions=("drop over a fifth of the rim",),
        ),
        Frame(
            file="brass-060-drop-third.jpg",
            view=_view(
                35,
                bore=0.6,
                land=1.2,
                drops=(
                    Drop(
                        colour=ORANGE,
                        centre_mm=(-0.27, -0.16, -0.02),
                        semi_axes_mm=(0.2, 0.27, 0.1),
                    ),
                ),
            ),
            conditions=("drop over a third of the rim",),
        ),
        Frame(
            file="brass-080-drop-and-dirt.jpg",
            view=_view(
                36,
                um=7.0,
                bore=0.8,
                land=1.5,
                at=(-0.2, 0.2, 0.0),
                finish=Finish(dirt=0.6, scratches=25),
                drops=(
                    Drop(
                        colour=BLACK, centre_mm=(0.1, -0.42, -0.01), semi_axes_mm=(0.2, 0.1, 0.07)
                    ),
                ),
            ),
            conditions=("drop over a tenth of the rim", "burnt residue"),
        ),
    )


def _worn() -> tuple[Frame, ...]:
    scratched = Finish(scratches=90, grain_um=0.1, dents=40, dirt=0.4)
    return (
        Frame(
            file="brass-040-worn-oval.jpg",
            view=_view(
                41,
                tip=Tip(oval=0.035, edge_break_mm=0.03, ragged_um=2.5, seed=41),
                finish=scratched,
                at=(-0.1, -0.05, 0.0),
            ),
            conditions=("worn", "oval by 7 %", "ragged edge"),
        ),
        Frame(
            file="brass-040-big-bevel.jpg",
            view=_view(42, tip=Tip(edge_break_mm=0.07, bevelled=True, seed=42), at=(0.2, 0.1, 0.0)),
            conditions=("edge broken by 0.07 mm", "two concentric circles"),
        ),
        Frame(
            file="steel-040-dark-land.jpg",
            view=_view(
                43,
                at=(0.06, 0.21, 0.0),
                metal=HARDENED_STEEL,
                roughness=0.2,
                finish=Finish(groove_um=0.5, pitch_um=22.0, dirt=0.15),
            ),
            conditions=("hardened steel", "dark land"),
            land_level=0.11,
        ),
        Frame(
            file="brass-040-scratched.jpg",
            view=_view(44, finish=scratched, at=(-0.15, 0.12, 0.0), turn=20.0),
            conditions=("scratched", "dented"),
        ),
    )


def _unusable() -> tuple[Frame, ...]:
    lump = Drop(colour=ORANGE, centre_mm=(0.02, -0.01, -0.03), semi_axes_mm=(0.42, 0.38, 0.16))
    return (
        Frame(
            file="no-cut-by-the-edge.jpg",
            view=_view(51, at=(1.90, 0.3, 0.0)),
            conditions=("bore cut by the frame's right edge",),
            unusable_because="part-in-view",
        ),
        Frame(
            file="no-cut-by-the-corner.jpg",
            view=_view(52, bore=0.6, land=1.2, at=(-1.85, -1.38, 0.0)),
            conditions=("bore cut by the frame's top left corner",),
            unusable_because="part-in-view",
        ),
        Frame(
            file="no-covered.jpg",
            view=_view(53, drops=(lump,)),
            conditions=("bore wholly covered by plastic",),
            unusable_because="bore-covered",
            land_level=0.12,
        ),
        Frame(
            file="no-tip.jpg",
            view=_view(54, tip_mm=None),
            conditions=("no nozzle in view, only the machine's underside",),
            unusable_because="no-round-edge",
            land_level=0.05,
        ),
        Frame(
            file="no-far-out-of-focus.jpg",
            view=_view(55, at=(0.1, 0.1, 6.0)),
            conditions=("out of focus by 6 mm",),
            unusable_because="out-of-focus",
            samples=160,
        ),
        Frame(
            file="no-light.jpg",
            view=_view(56),
            conditions=("lamps all but off",),
            unusable_because="too-dark",
            land_level=0.0012,
            sensor=Sensor(full_well=900.0, read_noise=5.0),
        ),
    )
