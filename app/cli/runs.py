"""`tipwright runs`: what was recorded - list it, show it, export it again."""

from __future__ import annotations

import argparse
from contextlib import closing
from pathlib import Path

from app.cli.outcome import Exit, give, give_json, json_text, say
from app.errors import InputError
from app.export import offsets_csv, offsets_object, offsets_table, paste_text
from app.job.facts import Sighted
from app.job.offsets import Solution
from app.job.run import Run, fold
from app.job.sheet import next_step, sentence
from app.job.snapshot import Snapshot, snapshot_of
from app.job.stored import stored_of
from app.records import RunSummary, Store, default_folder
from app.wiring.files import write_text

ABOUT = """\
List, show and export what was recorded. Nothing is changed in the records.

  tipwright runs list
  tipwright runs show last
  tipwright runs export last --format csv --to offsets.csv
"""

FORMATS = ("text", "csv", "json")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    verbs = parser.add_subparsers(metavar="VERB", dest="verb", required=True)
    listing = verbs.add_parser("list", help="all runs, the newest first")
    show = verbs.add_parser("show", help="one run: sightings, offsets, what is next")
    export = verbs.add_parser("export", help="the offsets of one run, worked out again")
    for verb in (show, export):
        verb.add_argument("run_id", metavar="RUN", help="the id of a run, or 'last'")
    export.add_argument("--format", choices=FORMATS, default="text", help="default text")
    export.add_argument("--to", metavar="FILE", help="write to this file instead of printing")
    for verb in (listing, show, export):
        verb.add_argument("--records", metavar="FOLDER", help="default: the user's data folder")
        verb.add_argument("--json", action="store_true", help="for programs")


def run(arguments: argparse.Namespace) -> int:
    """Do what the verb says; nothing is changed in the records."""
    folder = Path(arguments.records) if arguments.records else default_folder()
    if not folder.exists():
        return _no_records(folder, arguments)
    with closing(Store(folder)) as store:
        if arguments.verb == "list":
            return _list(store, as_json=arguments.json)
        summary = _summary(store, arguments.run_id)
        snapshot = fold(store.entries(summary.run_id))
        if arguments.verb == "show":
            return _show(summary, snapshot, as_json=arguments.json)
        kind = "json" if arguments.json else arguments.format
        return _export(summary, snapshot, kind, arguments.to)


def _no_records(folder: Path, arguments: argparse.Namespace) -> int:
    """Answer for a folder that is not there, rather than make an empty one."""
    if arguments.verb == "list" and not arguments.records:
        say("No run was recorded yet.")
        return Exit.GOOD
    raise InputError(
        f"There are no records in {folder}: the folder does not exist; check its name.",
        code="records-missing",
        file=str(folder),
    )


def _list(store: Store, *, as_json: bool) -> int:
    summaries = store.runs()
    for summary in summaries:
        if as_json:
            give_json({"schema": 1, **_summary_object(summary)})
        else:
            give(_summary_line(summary))
    if not summaries:
        say("No run was recorded yet.")
    return Exit.GOOD


def _summary(store: Store, run_id: str) -> RunSummary:
    summaries = store.runs()
    if run_id == "last" and summaries:
        return summaries[0]
    for summary in summaries:
        if summary.run_id == run_id:
            return summary
    raise InputError(
        f"There is no run {run_id} in {store.folder}; `tipwright runs list` names them all.",
        code="run-unknown",
        file=str(store.folder),
        path="run",
        value=run_id,
    )


def _summary_object(summary: RunSummary) -> dict[str, object]:
    return {
        "run": summary.run_id,
        "machine": summary.machine,
        "started_at": summary.started_at,
        "last_at": summary.last_at,
        "facts": summary.n_facts,
        "simulated": summary.simulated,
        "exported": summary.exported,
        "finished": summary.finished,
    }


def _summary_line(summary: RunSummary) -> str:
    state = "finished" if summary.finished else "exported" if summary.exported else "open"
    bench = "  (bench)" if summary.simulated else ""
    return (
        f"{summary.run_id}  {summary.machine:<12} {summary.started_at[:16]}"
        f"  {summary.n_facts:>3} facts  {state}{bench}"
    )


def _show(summary: RunSummary, run: Run, *, as_json: bool) -> int:
    snapshot = snapshot_of(run)
    step = sentence(next_step(snapshot), run)
    if as_json:
        shown: dict[str, object] = {"schema": 1, **_summary_object(summary), "next": step}
        shown["sightings"] = [
            {
                "entry": s.number,
                "at": s.at,
                "purpose": s.seen.purpose.value,
                "tool": s.seen.tool,
                "position_mm": list(s.seen.position),
                "center_px": list(s.seen.centre_px),
                "struck": s.struck,
            }
            for s in run.sightings
        ]
        if snapshot.solution is not None:
            shown["offsets"] = _result_object(snapshot, snapshot.solution)
        give_json(shown)
        return Exit.GOOD
    give(_summary_line(summary))
    for s in run.sightings:
        give(f"  {s.number:>3}  {_sighting_words(s.seen)}{'' if s.counts else '  (struck out)'}")
    if snapshot.solution is not None:
        give("")
        give(offsets_table(snapshot.solution, stored_of(run.profile, snapshot.solution)))
    for found in snapshot.findings:
        say(f"{'check failed' if found.fails else 'note'}: {found.message}")
    give(f"\nnext: {step}")
    return Exit.GOOD


def _sighting_words(seen: Sighted) -> str:
    x, y, _ = seen.position
    return (
        f"{seen.purpose.value:<5} tool {seen.tool}  X {x:.3f} Y {y:.3f}"
        f"  at {seen.centre_px.u:.2f}, {seen.centre_px.v:.2f} px"
    )


def _result_object(snapshot: Snapshot, solution: Solution) -> dict[str, object]:
    return offsets_object(
        solution,
        snapshot.findings,
        stored_of(snapshot.run.profile, solution),
        simulated=snapshot.run.started.simulated,
    )


def _export(summary: RunSummary, run: Run, kind: str, to: str | None) -> int:
    snapshot = snapshot_of(run)
    if snapshot.solution is None or len(snapshot.solution.tools) < 2:
        raise InputError(
            f"Run {summary.run_id} has no offsets yet: {sentence(next_step(snapshot), run)}",
            code="no-offsets",
            path="run",
            value=summary.run_id,
        )
    stored = stored_of(run.profile, snapshot.solution)
    simulated = run.started.simulated
    if kind == "json":
        result = _result_object(snapshot, snapshot.solution)
        if to is None:
            give_json(result)
        else:
            write_text(Path(to), json_text(result))
    else:
        text = (
            offsets_csv(snapshot.solution, snapshot.findings, stored, simulated=simulated)
            if kind == "csv"
            else paste_text(stored.text, snapshot.findings, simulated=simulated)
        )
        if to is None:
            give(text.rstrip("\r\n"))
        else:
            write_text(Path(to), text)
    return Exit.CHECK_FAILED if any(f.fails for f in snapshot.findings) else Exit.GOOD
