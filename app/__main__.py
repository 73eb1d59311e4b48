"""The entry of the program: `tipwright`, the same as `python -m app`."""

from __future__ import annotations

import sys

from app.cli import run_command


def main() -> int:
    """Run the command line, or open the window, and return the exit status."""
    return run_command(sys.argv[1:], open_window=_open_window)


def _open_window(machine: str | None, seed: int) -> int:
    # Qt takes a while to load, and commands without a window do not need it; OpenCV has
    # to be told what to do before anything else imports it.
    import app.cameras.opencv  # noqa: F401 - for what its import does
    from app.ui.program import open_window

    return open_window(machine=machine, seed=seed)


if __name__ == "__main__":
    sys.exit(main())
