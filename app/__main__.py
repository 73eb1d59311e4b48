"""The entry of the program: `tipwright`, the same as `python -m app`."""

from __future__ import annotations

import sys

from app.cli import run_command


def main() -> int:
    """Run the command line and return its exit status."""
    return run_command(sys.argv[1:])


if __name__ == "__main__":
    sys.exit(main())
