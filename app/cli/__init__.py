"""The job without a window: one module a command."""

from app.cli.main import run_command

__all__ = ["run_command"]
