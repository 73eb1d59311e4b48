"""Commands that are run here leave nothing in the user's own folders."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def own_data_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TIPWRIGHT_DATA", str(tmp_path / "data"))
    monkeypatch.delenv("TIPWRIGHT_LOG", raising=False)
