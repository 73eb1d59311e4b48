"""A whole run by itself: from the first step to the offsets in the records."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from app import __version__
from app.errors import CameraError, DeviceError, MachineError
from app.export import paste_text
from app.job.checks import Finding
from app.job.facts import Exported, ExportedTool, PositionMode, RunStarted
from app.job.interfaces import Camera, FactStore, Machine
from app.job.offsets import ALGORITHM, Solution
from app.job.procedures import GaveUp
from app.job.profile import Profile
from app.job.run import Run
from app.job.sheet import Export, Step, sentence
from app.job.stored import StoredOffsets, stored_of
from app.wiring.runner import DEFAULT_RUNNER, Runner, RunnerSettings


@dataclass(frozen=True, slots=True, kw_only=True)
class FinishedRun:
    """A run whose offsets were taken; everything of it is in the records."""

    run_id: str
    run: Run
    solution: Solution
    findings: tuple[Finding, ...]
    stored: StoredOffsets


def run_automatically(
    *,
    profile: Profile,
    camera: Camera,
    machine: Machine,
    store: FactStore,
    simulated: bool,
    say: Callable[[Step, Run], None] | None = None,
    settings: RunnerSettings = DEFAULT_RUNNER,
) -> FinishedRun:
    """Do a whole run; the reference nozzle has to be over the camera, near its focus.

    Raises
    ------
    DeviceError
        When a step needs a person, or a device is lost; what was recorded so far is
        kept, and the message says as which run.
    """
    start = machine.shown()
    started = RunStarted(
        profile=profile,
        camera=camera.name,
        mode=PositionMode.SHOWN,
        simulated=simulated,
        program_version=__version__,
    )
    run_id = store.start_run(started)
    runner = Runner(
        camera=camera,
        machine=machine,
        store=store,
        run_id=run_id,
        start=start,
        settings=settings,
        say=say,
    )
    try:
        ended = runner.run_until_export()
    except (CameraError, MachineError) as error:
        raise _kept(error, run_id) from error
    snapshot = runner.snapshot()
    if not isinstance(ended, Export) or snapshot.solution is None:
        raise _stuck(ended, snapshot.run, run_id)
    return export_run(store, run_id, snapshot.run, snapshot.solution, snapshot.findings)


def export_run(
    store: FactStore,
    run_id: str,
    run: Run,
    solution: Solution,
    findings: Sequence[Finding],
) -> FinishedRun:
    """Take the offsets: record numbers, text and warnings, and return them."""
    stored = stored_of(run.profile, solution)
    store.append(run_id, exported_fact(solution, findings, stored))
    return FinishedRun(
        run_id=run_id, run=run, solution=solution, findings=tuple(findings), stored=stored
    )


def exported_fact(
    solution: Solution, findings: Sequence[Finding], stored: StoredOffsets
) -> Exported:
    """Return the fact that these offsets were taken, with all that they came with."""
    return Exported(
        tools=tuple(
            ExportedTool(
                tool=offset.tool,
                nozzle_vector_mm=offset.vector_mm,
                covariance_mm2=offset.covariance_mm2,
                expanded_uncertainty_mm=offset.expanded_mm,
                new_stored=stored.new.get(offset.tool),
            )
            for offset in solution.tools
        ),
        settings_text=stored.text.settings,
        moves_text=stored.text.moves,
        warnings=tuple(found.message for found in findings),
        algorithm=ALGORITHM,
    )


def pasted(finished: FinishedRun) -> str:
    """Return the paste text of a finished run, its warnings and cautions with it."""
    simulated = finished.run.started.simulated
    return paste_text(finished.stored.text, finished.findings, simulated=simulated)


def _kept(error: CameraError | MachineError, run_id: str) -> DeviceError:
    """Return the same error, which now also says where the run is and how to go on."""
    return type(error)(
        f"{error.message} What was sighted so far is kept as run {run_id}; "
        f"`tipwright runs show {run_id}` says what is next.",
        code=error.code,
        file=error.file,
        path=error.path,
        value=error.value,
    )


def _stuck(ended: Step | GaveUp, run: Run, run_id: str) -> DeviceError:
    if isinstance(ended, GaveUp):
        message = f"{ended.message} {ended.remedy}"
    else:
        message = sentence(ended, run)
    return DeviceError(
        f"The run stopped and is kept as {run_id}: {message}", code="needs-a-person", value=run_id
    )
