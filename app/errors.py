"""Errors that come from the world outside the program.

    TipwrightError
    ├── InputError      unusable input: a file, field or value        (exit status 2)
    ├── DeviceError     a camera or a machine does not do its part    (exit status 3)
    │   ├── CameraError
    │   └── MachineError
    ├── RecordsError    the records cannot be read or written         (exit status 3)
    └── StoppedByUser   the person said stop                          (exit status 4)

Expected outcomes (no bore in the picture, jogs too short) are values, not
errors. A caller's mistake raises ValueError or TypeError.
"""

from __future__ import annotations

from typing import ClassVar


class TipwrightError(Exception):
    """Root of the tree: something a person can be told about.

    Attributes
    ----------
    code
        Short name for programs, kept stable.
    message
        One sentence for people: what is wrong and what to do.
    file, path, value
        Where it was found: the file, the field in it, the value it had.
    """

    exit_status: ClassVar[int] = 3

    def __init__(
        self,
        message: str,
        *,
        code: str,
        file: str | None = None,
        path: str | None = None,
        value: object = None,
    ) -> None:
        super().__init__(message)
        self.message = message
        self.code = code
        self.file = file
        self.path = path
        self.value = value


class InputError(TipwrightError):
    """A file, a field or a value that cannot be used."""

    exit_status: ClassVar[int] = 2


class DeviceError(TipwrightError):
    """A device that does not do its part."""


class CameraError(DeviceError):
    """A camera cannot be opened, or has no frames to give."""


class MachineError(DeviceError):
    """A machine does not answer, or did not do what it was told."""


class RecordsError(TipwrightError):
    """The records cannot be read or written."""


class StoppedByUser(TipwrightError):  # noqa: N818 - it is an end, not an error
    """The person said stop; what was recorded so far is kept."""

    exit_status: ClassVar[int] = 4
