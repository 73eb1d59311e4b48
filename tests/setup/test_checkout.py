"""What lies in the checkout: a short top level, no large files."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).resolve().parents[2]

TOP_LEVEL = {
    "CHANGELOG.md",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "app",
    "docs",
    "pyproject.toml",
    "sample_frames",
    "start.py",
    "tests",
    "vision",
}

LARGEST_BYTES = 40_000_000


@pytest.fixture(scope="module")
def tracked() -> list[str]:
    """The tracked files; a copy without its history has none to look at."""
    if shutil.which("git") is None or not (CHECKOUT / ".git").exists():
        pytest.skip("not a git checkout")
    # A checkout that belongs to another user is still ours to look at.
    listed = subprocess.run(
        ["git", "-c", "safe.directory=*", "ls-files", "-z"],
        cwd=CHECKOUT,
        capture_output=True,
        text=True,
        check=True,
    )
    return [name for name in listed.stdout.split("\0") if name]


def test_the_top_level_holds_only_what_belongs_there(tracked: list[str]) -> None:
    top = {name.partition("/")[0] for name in tracked}
    assert {name for name in top if not name.startswith(".")} <= TOP_LEVEL


def test_what_a_reader_looks_for_is_there(tracked: list[str]) -> None:
    assert {"README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", ".ci/run"} <= set(tracked)


def test_all_tracked_files_together_stay_small(tracked: list[str]) -> None:
    files = [CHECKOUT / name for name in tracked]
    assert sum(file.stat().st_size for file in files if file.is_file()) < LARGEST_BYTES


def test_the_script_of_the_build_does_what_the_readme_says() -> None:
    lines = (CHECKOUT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    assert "python3 start.py test" in lines
    assert "    python3 start.py test " in (CHECKOUT / "README.md").read_text(encoding="utf-8")
