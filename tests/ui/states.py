"""States of the window at every stage of a run, made on paper with a real picture beside."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from app.cameras import read_image
from app.dialects.values import Layout, NozzleVectorMm, OffsetMm
from app.job.by_hand import Agreement, AxisEntry, PlaceEntry, Typed
from app.job.facts import (
    Approach,
    Exported,
    Fact,
    Position,
    Prepared,
    Purpose,
    Sighted,
    Struck,
)
from app.job.interfaces import CameraHealth, CameraState, Frame
from app.job.live import Seen, correction
from app.job.profile import Profile, Tool
from app.job.quality import Grade, Level
from app.job.sheet import (
    PREPARATION,
    ConfirmMirror,
    EnterOffsets,
    Export,
    HomeFirst,
    Prepare,
    SightScale,
    SightTool,
    next_step,
    sentence,
)
from app.job.snapshot import Snapshot, snapshot_of
from app.job.stored import stored_of
from app.ui.state import DeskState, Notice, Refused, Weight
from app.wiring.glance import BurstProgress, Glance, Shown
from app.wiring.history import PastOffset
from tests.job.conftest import PaperMachine, make_profile, run_of
from vision.bore import BoreFit, BoreRefusal, Reason, find_bore
from vision.exposure import Exposure
from vision.geometry import PointPx

FRAMES = Path(__file__).parents[2] / "sample_frames" / "frames"

PLOVER = make_profile(
    tools=tuple(Tool(number=n) for n in range(5)),
    display_step_mm=0.01,
    travel_mm=((0.0, 300.0), (0.0, 300.0), (0.0, 250.0)),
)
HERON = make_profile(
    name="Heron",
    layout=Layout.INDEPENDENT_CARRIAGES,
    dialect="marlin-two-carriages",
    tools=(Tool(number=0), Tool(number=1, stored_raw=OffsetMm(353.0, 0.15, 0.0))),
    homes_between_tools=True,
    display_step_mm=0.01,
)
SIXTEEN = make_profile(name="Sixteen", tools=tuple(Tool(number=n) for n in range(16)))

GOOD = Level(fraction=0.7, grade=Grade.GOOD, word="sharp", advice="")
DIM = Level(
    fraction=0.2, grade=Grade.POOR, word="too dark", advice="Turn the microscope's lamp up."
)
LIVE = CameraHealth(state=CameraState.LIVE, sentence="", frame_age_s=0.02, dropped=0)
LOST = CameraHealth(
    state=CameraState.STALLED,
    sentence="Camera 0 has sent no new picture for 2 s; it is being opened again. Check its plug.",
    frame_age_s=4.1,
    dropped=3,
)


def machine(profile: Profile = PLOVER, *, mirrored: bool = False) -> PaperMachine:
    """Return a machine on paper whose nozzles stand a few tenths apart."""
    vectors = {
        tool.number: (0.11 * i - 0.2 * (i > 2), 0.09 * i * (-1) ** i)
        for i, tool in enumerate(profile.tools)
    }
    matrix = np.array([[180.0, 12.0], [-11.0, 182.0]])
    return PaperMachine(
        profile=profile,
        vectors_mm=vectors,
        matrix=matrix @ np.diag([-1.0, 1.0]) if mirrored else matrix,
    )


def facts_until(
    stop: Callable[[object], bool], profile: Profile = PLOVER, *, mirrored: bool = False
) -> list[Fact]:
    """Do what the run sheet asks for until a step is reached."""
    paper = machine(profile, mirrored=mirrored)
    facts: list[Fact] = [paper.started()]
    rng = np.random.default_rng(7)
    for _ in range(80):
        run = run_of(*facts)
        step = next_step(snapshot_of(run))
        if stop(step):
            return facts
        facts.append(_done(step, paper, rng))
    raise AssertionError("the step is never reached")


def _done(step: object, paper: PaperMachine, rng: np.random.Generator) -> Fact:
    from app.job.facts import Entered, Homed, MirrorAccepted
    from app.job.snapshot import in_display_mm

    match step:
        case Prepare():
            return Prepared(ticked=PREPARATION)
        case SightScale(tool=tool, expected=expected):
            purpose, place = Purpose.SCALE, expected or Position(150.0, 100.0, 5.0)
        case SightTool(tool=tool, expected=expected):
            assert expected is not None
            purpose, place = Purpose.TOOL, expected
        case ConfirmMirror():
            return MirrorAccepted(mirrored=True)
        case HomeFirst(tool=tool):
            return Homed(tool=tool)
        case Export():
            return Exported(tools=(), settings_text="x", moves_text="", warnings=(), algorithm="a")
        case EnterOffsets(tools=tools):
            return Entered(tool=tools[0])
        case _:
            raise AssertionError(step)
    seen = paper.sighted(tool, place, purpose=purpose, d=in_display_mm(paper.profile, tool))
    u, v = np.array(seen.centre_px) + rng.normal(0.0, 0.4, 2)
    return replace(seen, centre_px=PointPx(float(u), float(v)))


@cache
def picture(name: str = "brass-040-clean.png") -> NDArray[np.uint8]:
    """Return a rendered picture of a tip, BGR, 640x480."""
    image = read_image(FRAMES / name)
    assert image.dtype == np.uint8
    plane = image if image.ndim == 3 else np.repeat(image[:, :, None], 3, axis=2)
    return np.ascontiguousarray(plane.astype(np.uint8))


def shown(name: str = "brass-040-clean.png", frame_id: int = 1) -> Shown:
    """Return a frame that is ready to be painted."""
    image = picture(name)
    alpha = np.full((*image.shape[:2], 1), 255, dtype=np.uint8)
    return Shown(
        frame=Frame(image=image, frame_id=frame_id, arrived_at_s=1.0, camera_generation=1),
        bgra=np.ascontiguousarray(np.concatenate([image, alpha], axis=2)),
    )


@cache
def fit(name: str = "brass-040-clean.png") -> BoreFit | BoreRefusal:
    """Return the finder's answer to a sample frame."""
    return find_bore(picture(name))


def glance(answer: BoreFit | BoreRefusal) -> Glance:
    """Return what the measuring thread would hand over."""
    return Glance(
        seen=Seen(frame_id=1, arrived_at_s=1.0, camera_generation=1, fit=answer),
        sharpness=0.01,
        exposure=Exposure(mean=0.4, bright=0.8, burnt_share=0.001),
        picture_size_px=(640, 480),
        took_s=0.06,
    )


def entry_at(place: Position, *, picture_says_x_mm: float | None = None) -> PlaceEntry:
    """Return fields that hold a place; with a value, the picture disagrees in X."""
    doubt = picture_says_x_mm is not None
    return PlaceEntry(
        axes=(
            AxisEntry(
                axis="X",
                text=f"{place.x:.2f}",
                value_mm=place.x,
                problem=None,
                agreement=Agreement.DOUBTFUL if doubt else Agreement.AGREES,
                picture_says_mm=picture_says_x_mm if doubt else place.x,
            ),
            AxisEntry(
                axis="Y",
                text=f"{place.y:.2f}",
                value_mm=place.y,
                problem=None,
                agreement=Agreement.AGREES,
                picture_says_mm=place.y,
            ),
        ),
        as_jogs=False,
        place=place,
        approach=Approach(1, 1),
        problem=None,
        doubt=(
            f"X reads {place.x:.2f}; the picture says {picture_says_x_mm:.2f}." if doubt else None
        ),
    )


def state_of(snapshot: Snapshot, **changes: object) -> DeskState:
    """Return the plain state of a run: a sharp bore in view, all well."""
    step = next_step(snapshot)
    answer = fit()
    place = getattr(step, "expected", None) or Position(150.0, 100.0, 5.0)
    asks_place = isinstance(step, SightScale | SightTool)
    seen = Seen(frame_id=1, arrived_at_s=1.0, camera_generation=1, fit=answer)
    fix = correction(snapshot, seen) if isinstance(step, SightTool) else None
    plan = getattr(step, "plan", None) or (fix.plan if fix is not None else None)
    stored = None
    if snapshot.solution is not None and not isinstance(step, SightTool | HomeFirst):
        stored = stored_of(snapshot.run.profile, snapshot.solution)
    thumbs = {
        s.number: np.ascontiguousarray(picture()[180:276, 260:356, 1])
        for s in snapshot.run.sightings
    }
    plain: dict[str, object] = {
        "run_id": "20261125-140300-plover-3fa9",
        "camera_name": "bench",
        "simulated": True,
        "snapshot": snapshot,
        "step": step,
        "sentence": sentence(step, snapshot.run),
        "button": _button(step),
        "blocked": "",
        "ticked": frozenset(),
        "glance": glance(answer),
        "fix": fix,
        "plan": plan,
        "hint": "",
        "focus": GOOD,
        "light": replace(GOOD, word="even"),
        "typed": Typed(x=f"{place.x:.2f}", y=f"{place.y:.2f}"),
        "entry": entry_at(place) if asks_place else None,
        "burst": None,
        "refused": None,
        "keep_doubtful": False,
        "saving": False,
        "camera": LIVE,
        "notices": (),
        "automatic": False,
        "speech": False,
        "tone": False,
        "open_card": None,
        "thumbnails": thumbs,
        "stored": stored,
        "acknowledged": False,
        "history": {},
    }
    return DeskState(**(plain | changes))  # type: ignore[arg-type]  # checked by the callers


def _button(step: object) -> str:
    match step:
        case Prepare(left=left):
            return f"Tick: {left[0]}"
        case SightScale(tool=tool) | SightTool(tool=tool):
            return f"Sight tool {tool}"
        case HomeFirst():
            return "Homed"
        case Export():
            return "Take the offsets"
        case EnterOffsets(tools=tools):
            return f"Tool {tools[0]} is entered"
        case _:
            return ""


def _until(kind: type, profile: Profile = PLOVER, *, mirrored: bool = False) -> Snapshot:
    facts = facts_until(lambda step: isinstance(step, kind), profile, mirrored=mirrored)
    return snapshot_of(run_of(*facts))


def _half_scale() -> Snapshot:
    facts = facts_until(lambda step: isinstance(step, SightScale) and step.number == 4)
    return snapshot_of(run_of(*facts))


def _tool(number: int) -> Snapshot:
    facts = facts_until(lambda step: isinstance(step, SightTool) and step.tool == number)
    return snapshot_of(run_of(*facts))


def _mend() -> Snapshot:
    facts = facts_until(lambda step: isinstance(step, SightTool))
    wrong = [i for i, f in enumerate(facts) if getattr(f, "purpose", None) is Purpose.SCALE][3]
    fact = facts[wrong]
    assert isinstance(fact, Sighted)
    place = fact.position
    facts[wrong] = replace(fact, position=place._replace(x=place.x + 0.09))
    return snapshot_of(run_of(*facts[: wrong + 3]))


def _struck() -> Snapshot:
    facts = facts_until(lambda step: isinstance(step, SightTool) and step.tool == 2)
    return snapshot_of(run_of(*facts, Struck(number=len(facts), why="a drop came off")))


def _warned() -> Snapshot:
    facts = facts_until(lambda step: isinstance(step, Export))
    last = facts[-1]
    assert isinstance(last, Sighted)
    facts[-1] = replace(last, centre_px=PointPx(last.centre_px.u + 14.0, last.centre_px.v))
    return snapshot_of(run_of(*facts))


HISTORY = {
    1: tuple(
        PastOffset(
            at=f"2026-{month:02d}-11T09:30:00.000Z",
            run_id=f"2026{month:02d}11-093000-plover-11aa",
            vector_mm=NozzleVectorMm(0.1 + 0.004 * month, -0.09 + 0.002 * month),
            expanded_mm=(0.016, 0.015),
        )
        for month in (3, 6, 8, 10)
    )
}


def _no_bore() -> BoreRefusal:
    answer = fit("no-tip.jpg")
    assert isinstance(answer, BoreRefusal)
    return answer


def _part() -> BoreRefusal:
    return BoreRefusal(
        reason=Reason.PART_IN_VIEW,
        message="Only part of a rim is in view, at the top edge.",
        remedy="Jog until the whole bore is in view.",
        towards_px=PointPx(330.0, -20.0),
    )


STATES: dict[str, Callable[[], DeskState]] = {
    "preparation": lambda: state_of(_until(Prepare)),
    "first place": lambda: state_of(_until(SightScale)),
    "scale half done": lambda: state_of(_half_scale()),
    "mend the scale": lambda: state_of(_mend()),
    "mirrored": lambda: state_of(_until(ConfirmMirror, mirrored=True)),
    "home first": lambda: state_of(_until(HomeFirst, HERON)),
    "tool": lambda: state_of(_tool(2)),
    "typed wrong": lambda: state_of(
        _tool(0), entry=entry_at(Position(150.43, 100.0), picture_says_x_mm=150.34)
    ),
    "no bore": lambda: state_of(
        _tool(2), glance=glance(_no_bore()), fix=None, plan=None, hint=_no_bore().message
    ),
    "part of a rim": lambda: state_of(
        _tool(2),
        glance=glance(_part()),
        hint="A rim is at the top edge: jog Y -1.00.",
    ),
    "sighting": lambda: state_of(_tool(2), burst=BurstProgress(ask=1, taken=5, wanted=12)),
    "refused": lambda: state_of(
        _tool(2),
        refused=Refused(
            sentence="The bore moved while the pictures were taken.",
            remedy="Wait until the machine stands still, then press Space again.",
        ),
    ),
    "struck out": lambda: state_of(_struck()),
    "too dark": lambda: state_of(
        _tool(1),
        light=DIM,
        notices=(
            Notice(
                key="exposure",
                weight=Weight.WARNING,
                sentence="The light has fallen by a third since the first sighting: "
                "automatic exposure seems to be on.",
            ),
        ),
    ),
    "lost camera": lambda: state_of(_tool(2), camera=LOST, glance=None, fix=None, plan=None),
    "disk full": lambda: state_of(
        _tool(2),
        blocked="The last sighting is not on disk yet.",
        notices=(
            Notice(
                key="records",
                weight=Weight.FAULT,
                sentence="The disk is full: the last sighting is kept in memory. Make room.",
                retry="Try again",
            ),
        ),
    ),
    "result": lambda: state_of(_until(Export), history=HISTORY),
    "warning": lambda: state_of(_warned(), history=HISTORY),
    "two carriages": lambda: state_of(_until(Export, HERON)),
    "entering": lambda: state_of(_until(EnterOffsets)),
    "sixteen tools": lambda: state_of(_until(SightTool, SIXTEEN)),
    "card of the scale": lambda: state_of(_tool(2), open_card="scale"),
    "card of a tool": lambda: state_of(_until(Export), open_card="1", history=HISTORY),
}
"""Every state that the window can be in, by a name."""
