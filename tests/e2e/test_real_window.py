"""The tests of tests/xcb, each on a screen in memory of its own.

Skipped, with the reason, where Xvfb or xdotool is not there: `start.py test` installs
both on Debian.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).resolve().parents[2]
FILES = sorted(file.name for file in (CHECKOUT / "tests" / "xcb").glob("test_*.py"))
NEEDED = [name for name in ("Xvfb", "xdotool") if shutil.which(name) is None]

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(bool(NEEDED), reason=f"not installed: {', '.join(NEEDED)}"),
]


@contextmanager
def screen() -> Iterator[str]:
    """Start a screen in memory and give its name."""
    read, write = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(write), "-screen", "0", "1280x800x24", "-nolisten", "tcp"],
        pass_fds=(write,),
        stderr=subprocess.DEVNULL,
    )
    os.close(write)
    try:
        with os.fdopen(read) as told:
            number = told.readline().strip()
        assert number, "Xvfb did not start"
        yield f":{number}"
    finally:
        server.terminate()
        server.wait(10)


@pytest.mark.parametrize("file", FILES)
def test_the_real_window(file: str, tmp_path: Path) -> None:
    with screen() as display:
        done = subprocess.run(
            [
                *(sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider"),
                *("--basetemp", str(tmp_path / "tests"), f"tests/xcb/{file}"),
            ],
            cwd=CHECKOUT,
            env={**os.environ, "DISPLAY": display, "QT_QPA_PLATFORM": "xcb"},
            capture_output=True,
            text=True,
            timeout=400,
            check=False,
        )
    assert done.returncode == 0, done.stdout[-6000:] + done.stderr[-2000:]
    passed = re.search(r"(\d+) passed", done.stdout)
    assert passed is not None, done.stdout
    assert "skipped" not in done.stdout
