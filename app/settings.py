"""What the environment says: where data lie, and what is logged."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

import platformdirs

DATA_VARIABLE = "TIPWRIGHT_DATA"
"""Environment variable that names another folder for the user's data."""

LOG_VARIABLE = "TIPWRIGHT_LOG"
"""Environment variable that says what is logged, such as ``debug`` or ``info,stderr``."""


def data_folder(environ: Mapping[str, str] = os.environ) -> Path:
    """Return the folder for the user's data: TIPWRIGHT_DATA, or where the system keeps them."""
    named = environ.get(DATA_VARIABLE, "").strip()
    if named:
        return Path(named).expanduser()
    return platformdirs.user_data_path("Tipwright", appauthor=False)


def log_words(environ: Mapping[str, str] = os.environ) -> str:
    """Return what TIPWRIGHT_LOG says; empty when it says nothing."""
    return environ.get(LOG_VARIABLE, "")
