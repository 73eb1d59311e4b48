"""Saves a result as a file that people and programs can use; never over another one."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from app.errors import InputError
from app.export import offsets_csv, offsets_object, paste_text
from app.job.checks import Finding
from app.job.offsets import Solution
from app.job.run import Run
from app.job.stored import StoredOffsets
from app.wiring.files import write_text

SUFFIXES = {"text": ".txt", "csv": ".csv", "json": ".json"}
"""What a result can be saved as, and how such a file's name ends."""

_LONGEST_NAME = 40


def file_name(kind: str, run: Run) -> str:
    """Return a good name for a result's file: machine, day of the run, what it is.

    Raises
    ------
    ValueError
        When `kind` is none of `SUFFIXES`.
    """
    if kind not in SUFFIXES:
        raise ValueError(f"kind has to be one of {', '.join(SUFFIXES)}, not {kind!r}")
    plain = re.sub(r"[^\w]+", "-", run.profile.name.lower()).strip("-_")[:_LONGEST_NAME]
    day = datetime.fromisoformat(run.entries[-1].at).strftime("%Y%m%d")
    return f"{plain or 'machine'}-{day}-offsets{SUFFIXES[kind]}"


def save_result(
    folder_or_path: Path,
    kind: str,
    *,
    run: Run,
    solution: Solution,
    findings: Sequence[Finding],
    stored: StoredOffsets,
    simulated: bool,
    replace: bool = False,
) -> Path:
    """Write a result and return the file that it went to.

    Parameters
    ----------
    folder_or_path
        A file, or a folder that is there: then a name is made. A file without an ending
        gets the kind's own; "~" is the user's folder.
    kind
        "text" (what is pasted, with its cautions), "csv" or "json".
    run, solution, findings, stored, simulated
        What is saved.
    replace
        Whether a file of that name may be replaced; else "-2", "-3" is added.

    Raises
    ------
    InputError
        When the folder is not there, or the disk does not let it be written.
    """
    name = file_name(kind, run)
    path = _file_of(folder_or_path, name, SUFFIXES[kind])
    if not replace:
        path = _free(path)
    if kind == "csv":
        text = offsets_csv(solution, findings, stored, simulated=simulated)
    elif kind == "json":
        whole = offsets_object(solution, findings, stored, simulated=simulated)
        text = json.dumps(whole, allow_nan=False, indent=2) + "\n"
    else:
        text = paste_text(stored.text, findings, simulated=simulated)
    write_text(path, text)
    return path


def _file_of(folder_or_path: Path, name: str, suffix: str) -> Path:
    refusal = InputError(
        f"{str(folder_or_path)!r} is no name that a file can have; choose another.",
        code="file-not-written",
        file=str(folder_or_path),
    )
    # pathlib takes a zero byte for a file that is not there.
    if "\0" in str(folder_or_path):
        raise refusal
    try:
        path = folder_or_path.expanduser()
        if path.is_dir():
            return path / name
        folder_is_there = path.parent.is_dir()
    except (OSError, ValueError, RuntimeError) as error:
        raise refusal from error
    if not folder_is_there:
        raise InputError(
            f"The folder {path.parent} is not there: make it first, or choose another.",
            code="file-not-written",
            file=str(path),
        )
    return path if path.suffix else path.with_name(path.name + suffix)


def _free(path: Path) -> Path:
    """Return this path, or the first with a number behind its name that is not taken."""
    free, number = path, 1
    while free.exists() or free.is_symlink():
        number += 1
        free = path.with_name(f"{path.stem}-{number}{path.suffix}")
    return free
