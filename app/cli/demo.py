"""`tipwright demo`: the whole job on the bench, found offsets against the true ones."""

from __future__ import annotations

import argparse
import math
from contextlib import ExitStack, closing
from dataclasses import dataclass, replace
from pathlib import Path

from app.bench import MACHINES, World
from app.cli.outcome import Exit, give, give_json, say, seed
from app.errors import InputError
from app.export import offsets_object
from app.job.run import Run
from app.job.sheet import Step, sentence
from app.records import Store, default_folder
from app.wiring.automatic import FinishedRun, pasted, run_automatically
from app.wiring.runner import DEFAULT_RUNNER
from app.wiring.workshop import Workshop, bench_workshop, bench_world, served_workshop

LARGEST_U_UM = 25.0
"""Any expanded uncertainty above this fails the demonstration."""

OUTSIDE_SHARE = 0.1
"""More than one axis in ten outside its uncertainty fails it too."""


ABOUT = """\
Do the whole job on the bench, a simulated camera and machine, and compare what was
found with what is true. The runs are recorded like any other and marked as simulated.

The exit status is 1 if more than one axis in ten lies outside its uncertainty, or an
uncertainty exceeds 25 um, or a check failed.

  tipwright demo --machine heron
  tipwright demo --machine plover --camera http://127.0.0.1:8631/ \\
                 --link socket://127.0.0.1:8632
"""

_SERVED = replace(DEFAULT_RUNNER, patience_s=6.0)
"""Nobody unplugs a cable on this computer: a stream that has ended stays away."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "--machine",
        choices=MACHINES,
        help="one machine of the demonstration workshop; all of them when left out",
    )
    parser.add_argument("--seed", type=seed, default=1, help="which hidden truth (default 1)")
    parser.add_argument(
        "--camera", metavar="URL", help="the stream of a served bench, with --link and --machine"
    )
    parser.add_argument("--link", metavar="URL", help="the machine of a served bench")
    parser.add_argument(
        "--records", metavar="FOLDER", help="where to keep the runs (default: the user's data)"
    )
    parser.add_argument("--json", action="store_true", help="one JSON object a machine and line")


def run(arguments: argparse.Namespace) -> int:
    """Do the job on each machine asked for; failing checks are told by the exit status."""
    _check(arguments)
    machines = [arguments.machine] if arguments.machine else list(MACHINES)
    folder = Path(arguments.records) if arguments.records else default_folder()
    rows: list[_Row] = []
    failed = False
    with closing(Store(folder)) as store:
        for name in machines:
            finished, truth = _one(name, arguments, store)
            rows += _compare(finished, truth)
            failed |= any(found.fails for found in finished.findings)
            _tell(finished, truth, as_json=arguments.json)
    outside = sum(row.outside for row in rows)
    largest = max(row.u_um for row in rows)
    say(
        f"{outside} of {len(rows)} axes outside their uncertainty; "
        f"largest uncertainty {largest:.1f} um (k = 2)."
    )
    good = outside <= OUTSIDE_SHARE * len(rows) and largest <= LARGEST_U_UM and not failed
    return Exit.GOOD if good else Exit.CHECK_FAILED


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """One tool and axis: found against true."""

    tool: int
    axis: str
    found_mm: float
    true_mm: float
    u_mm: float

    @property
    def off_um(self) -> float:
        return (self.found_mm - self.true_mm) * 1e3

    @property
    def u_um(self) -> float:
        return self.u_mm * 1e3

    @property
    def outside(self) -> bool:
        return not abs(self.off_um) <= self.u_um


Vectors = dict[int, tuple[float, float, float]]


def _check(arguments: argparse.Namespace) -> None:
    served = (arguments.camera is not None, arguments.link is not None)
    if any(served) and not all((*served, arguments.machine)):
        raise InputError(
            "A served bench needs --camera, --link and --machine together, "
            "with the --machine and --seed that it was started with.",
            code="bad-usage",
        )


def _one(name: str, arguments: argparse.Namespace, store: Store) -> tuple[FinishedRun, Vectors]:
    world = bench_world(name, seed=arguments.seed)
    with ExitStack() as stack:
        workshop = _workshop(world, arguments, stack)
        finished = run_automatically(
            profile=workshop.profile,
            camera=workshop.camera,
            machine=workshop.machine,
            store=store,
            simulated=True,
            say=_say_step,
            settings=DEFAULT_RUNNER if arguments.camera is None else _SERVED,
        )
    return finished, world.true_vectors_mm()


def _workshop(world: World, arguments: argparse.Namespace, stack: ExitStack) -> Workshop:
    if arguments.camera is None:
        return stack.enter_context(bench_workshop(world))
    return stack.enter_context(
        served_workshop(world.profile, camera=arguments.camera, link=arguments.link)
    )


def _say_step(step: Step, run: Run) -> None:
    say(f"{run.profile.name}: {sentence(step, run)}")


def _compare(finished: FinishedRun, truth: Vectors) -> list[_Row]:
    rows = []
    for offset in finished.solution.tools[1:]:
        found, true, u = offset.vector_mm, truth[offset.tool], offset.expanded_mm
        rows += [
            _Row(tool=offset.tool, axis="X", found_mm=found.x, true_mm=true[0], u_mm=u[0]),
            _Row(tool=offset.tool, axis="Y", found_mm=found.y, true_mm=true[1], u_mm=u[1]),
        ]
    return rows


def _tell(finished: FinishedRun, truth: Vectors, *, as_json: bool) -> None:
    if as_json:
        result = offsets_object(
            finished.solution, finished.findings, finished.stored, simulated=True
        )
        result["machine"] = finished.run.profile.name
        result["run"] = finished.run_id
        result["true_vectors_mm"] = {str(tool): list(v) for tool, v in truth.items()}
        give_json(result)
        return
    give(f"\n{finished.run.profile.name} (run {finished.run_id})")
    give("tool axis  found (mm)   true (mm)   off (um)   U (um)")
    for row in _compare(finished, truth):
        mark = "  outside" if row.outside else ""
        give(
            f"{row.tool:>4}  {row.axis}   {row.found_mm:+9.4f}   {row.true_mm:+9.4f}"
            f"   {row.off_um:+8.1f}   {row.u_um:6.1f}{mark}"
        )
    closure = finished.solution.closure_um or (math.nan, math.nan)
    give(f"closure: X {closure[0]:+.1f} um, Y {closure[1]:+.1f} um")
    give("")
    give(pasted(finished).rstrip("\n"))
