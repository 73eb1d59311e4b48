"""`tipwright offsets`: work a whole job out from its file."""

from __future__ import annotations

import argparse
from pathlib import Path

from app.cli.outcome import Exit, give, give_json, say
from app.export import budget_table, offsets_object, offsets_table, paste_text
from app.wiring.job_files import solve_job_file

ABOUT = """\
Work out the offsets of all tools from a job file, without a camera or a machine.

The file holds the jogs and sightings in order of time, as pictures or as centres,
each with the position that the display showed. The exit status is 1 when a check
failed: the numbers are given, and what speaks against them.

  tipwright offsets JOB.json
  tipwright offsets JOB.json --budget
  tipwright offsets JOB.json --json > offsets.json
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("job", metavar="JOB.json", help="a job file")
    parser.add_argument(
        "--budget", action="store_true", help="what contributes to each uncertainty, and how much"
    )
    parser.add_argument("--json", action="store_true", help="the result as one JSON object")


def run(arguments: argparse.Namespace) -> int:
    """Print the offsets; a failed check is told by the exit status."""
    result = solve_job_file(Path(arguments.job))
    if arguments.json:
        give_json(offsets_object(result.solution, result.findings, result.stored))
    else:
        give(offsets_table(result.solution, result.stored))
        if arguments.budget:
            give("")
            give(budget_table(result.solution))
        if result.stored is not None:
            give("")
            give(paste_text(result.stored.text, result.findings).rstrip("\n"))
    for found in result.findings:
        say(f"{'check failed' if found.fails else 'note'}: {found.message}")
    return Exit.CHECK_FAILED if any(f.fails for f in result.findings) else Exit.GOOD
