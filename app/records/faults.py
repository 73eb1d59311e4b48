"""Errors of SQLite and of the file system, turned into `RecordsError`."""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy.exc import DBAPIError

from app.errors import RecordsError

_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
_REFUSED = {errno.EACCES, errno.EPERM, errno.EROFS}

_OUR_MISTAKES = (sqlite3.IntegrityError, sqlite3.ProgrammingError, sqlite3.InterfaceError)
"""What a wrong statement raises; nothing that a person can do something about."""


@contextmanager
def as_records_errors(file: Path) -> Iterator[None]:
    """Turn failures of the database and the file system into `RecordsError`.

    Parameters
    ----------
    file
        The database or folder in use, for the message; an OSError that names a
        file of its own keeps it.

    Raises
    ------
    RecordsError
        With one of the codes of docs/reference/records.md.
    """
    try:
        yield
    except DBAPIError as error:
        if isinstance(error.orig, _OUR_MISTAKES):
            raise
        raise from_sqlite(error.orig, file) from error
    except _OUR_MISTAKES:
        raise
    except sqlite3.Error as error:
        raise from_sqlite(error, file) from error
    except OSError as error:
        raise from_os(error, file) from error


def from_os(error: OSError, file: Path) -> RecordsError:
    """Return the error to raise for a failed call to the file system."""
    where = str(error.filename or file)
    if error.errno in _FULL:
        return _full(where)
    if error.errno in _REFUSED:
        return _read_only(where)
    why = error.strerror or str(error)
    return RecordsError(
        f"The records at {where} cannot be used ({why}); check that the disk is connected and "
        "that this is a folder you may write to.",
        code="records-disk",
        file=where,
    )


def from_sqlite(error: BaseException | None, file: Path) -> RecordsError:
    """Return the error to raise for a failed call to the database."""
    # sqlite_errorname is the extended code, such as SQLITE_IOERR_WRITE.
    name = str(getattr(error, "sqlite_errorname", "") or "")
    where = str(file)
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED", "SQLITE_PROTOCOL")):
        return _locked(where)
    if name.startswith("SQLITE_FULL"):
        return _full(where)
    if name.startswith(("SQLITE_READONLY", "SQLITE_PERM", "SQLITE_AUTH")):
        return _read_only(where)
    if name.startswith(("SQLITE_CORRUPT", "SQLITE_NOTADB")):
        return damaged(file, str(error))
    return RecordsError(
        f"The records {where} cannot be read or written ({error}); check that the disk is "
        "connected and has room. What was confirmed before is kept.",
        code="records-disk",
        file=where,
    )


def damaged(file: Path, why: str) -> RecordsError:
    """Return the error for a database that SQLite cannot make sense of."""
    return RecordsError(
        f"The records {file} are damaged or no database ({why}). Nothing was changed: move the "
        "file aside or put a copy of it back, and keep the pictures beside it.",
        code="records-damaged",
        file=str(file),
    )


def _locked(where: str) -> RecordsError:
    return RecordsError(
        f"The records {where} are in use by another program that does not let go; nothing was "
        "written. Close the other program and do it again.",
        code="records-locked",
        file=where,
    )


def _full(where: str) -> RecordsError:
    return RecordsError(
        f"There is no room left to write {where}; the last step was not recorded. Free some "
        "space and do it again.",
        code="records-full",
        file=where,
    )


def _read_only(where: str) -> RecordsError:
    return RecordsError(
        f"The records at {where} may not be written to; allow writing there, or choose another "
        "folder with TIPWRIGHT_DATA.",
        code="records-read-only",
        file=where,
    )
