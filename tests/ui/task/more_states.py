"""Further states that only the task panel tells apart."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

from app.job.by_hand import Agreement, AxisEntry, Typed
from app.job.facts import CameraDisturbed, Position
from app.job.sheet import Done, EnterOffsets, MendScale, Prepare, SightScale, sentence
from app.job.snapshot import snapshot_of
from app.ui.state import DeskState
from tests.job.conftest import make_profile, run_of
from tests.ui.states import HERON, SIXTEEN, STATES, _until, entry_at, facts_until, state_of
from vision.pixel_scale import ScaleReason, ScaleRefusal

REFUSAL = ScaleRefusal(
    reason=ScaleReason.COLLINEAR,
    message="the jogs lie on one line",
    remedy="jog along the other axis too",
)


def done() -> DeskState:
    """Return the state at the end of a run."""
    return state_of(_until(Done))


def two_carriages_to_prepare() -> DeskState:
    """Return the preparation of the firmware that has most to say, two items ticked."""
    return state_of(
        _until(Prepare, HERON),
        ticked=frozenset({"nozzles-cold", "filament-back"}),
        button="Tips are clean",
    )


def first_place_with_z() -> DeskState:
    """Return the first place, where Z may be typed too and nothing is typed yet."""
    entry = entry_at(Position(150.0, 100.0))
    empty = tuple(
        AxisEntry(
            axis=axis,
            text="",
            value_mm=None,
            problem=None,
            agreement=Agreement.UNKNOWN,
            picture_says_mm=None,
        )
        for axis in "XYZ"
    )
    return state_of(
        _until(SightScale),
        typed=Typed(),
        entry=replace(entry, axes=empty, place=None),
        blocked="Type X and Y first.",
    )


def both_typed_wrong() -> DeskState:
    """Return fields both of which disagree, about to be kept."""
    state = STATES["typed wrong"]()
    assert state.entry is not None
    x = state.entry.axes[0]
    y = replace(x, axis="Y", text="101.00", value_mm=101.0, picture_says_mm=100.0)
    return replace(
        state,
        typed=Typed(x="150.43", y="101.00"),
        entry=replace(
            state.entry,
            axes=(x, y),
            doubt="X reads 150.43 and Y 101.00; the picture says 150.34 and 100.00.",
        ),
        keep_doubtful=True,
        button="Keep both",
    )


def not_a_number() -> DeskState:
    """Return a field that holds no number."""
    state = STATES["tool"]()
    assert state.entry is not None
    x, y = state.entry.axes
    bad = replace(x, text="1.5.0", value_mm=None, problem="X: 1.5.0 is no number.")
    return replace(
        state,
        typed=Typed(x="1.5.0", y=y.text),
        entry=replace(state.entry, axes=(bad, y), place=None, problem=bad.problem),
        blocked="X: 1.5.0 is no number.",
    )


def jogs_only() -> DeskState:
    """Return a machine that shows no coordinates."""
    state = STATES["scale half done"]()
    assert state.entry is not None
    return replace(
        state,
        typed=Typed(x="-1.10", y="0.50"),
        entry=replace(state.entry, as_jogs=True),
    )


def no_entry_to_blame() -> DeskState:
    """Return jogs that give no scale, with no single entry to blame."""
    state = STATES["mend the scale"]()
    step = MendScale(refusal=REFUSAL, doubtful=(), numbers=())
    return replace(state, step=step, sentence=sentence(step, state.snapshot.run))


def several_to_blame() -> DeskState:
    """Return jogs of which one of two is wrong, and nobody can tell which."""
    state = STATES["mend the scale"]()
    step = state.step
    assert isinstance(step, MendScale)
    other = replace(step.doubtful[0], index=1)
    numbers = (*step.numbers, state.snapshot.run.scale_sightings()[1].number)
    both = replace(step, doubtful=(*step.doubtful, other), numbers=numbers)
    return replace(state, step=both, sentence=sentence(both, state.snapshot.run))


def fifteen_to_enter() -> DeskState:
    """Return the most tools there can be, with none entered."""
    return state_of(_until(EnterOffsets, SIXTEEN))


def saving() -> DeskState:
    """Return the moment in which a sighting goes to the disk."""
    return replace(STATES["tool"](), saving=True, blocked="The last sighting is being saved.")


def moved_camera() -> DeskState:
    """Return a run whose camera was moved: nothing counts that could be struck out."""
    profile = make_profile()
    facts = facts_until(lambda step: isinstance(step, SightScale) and step.number == 3, profile)
    return state_of(snapshot_of(run_of(*facts, CameraDisturbed(why="moved"))))


MORE: dict[str, Callable[[], DeskState]] = {
    "done": done,
    "two carriages to prepare": two_carriages_to_prepare,
    "first place with z": first_place_with_z,
    "both typed wrong": both_typed_wrong,
    "not a number": not_a_number,
    "jogs only": jogs_only,
    "no entry to blame": no_entry_to_blame,
    "several to blame": several_to_blame,
    "fifteen to enter": fifteen_to_enter,
    "saving": saving,
    "moved camera": moved_camera,
}

ALL_STATES: dict[str, Callable[[], DeskState]] = {
    name: cache(make) for name, make in (STATES | MORE).items()
}
"""All states by name; each is made once, for it is frozen."""
