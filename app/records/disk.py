"""Files that are on the disk, not only on their way to it; and whether that is a network drive."""

from __future__ import annotations

import os
import sys
from pathlib import Path, PurePath

_NETWORK_KINDS = (
    "nfs", "nfs4", "cifs", "smb3", "smbfs", "afs", "9p", "davfs", "fuse.sshfs", "fuse.davfs",
    "fuse.rclone", "ceph", "glusterfs", "fuse.glusterfs", "lustre", "virtiofs", "vboxsf",
)  # fmt: skip


def write_part(part: Path, content: bytes) -> None:
    """Write a file under a name that does not count yet, through to the disk."""
    with part.open("wb") as file:
        file.write(content)
        file.flush()
        _through(file.fileno())


def keep(part: Path, target: Path) -> None:
    """Give a written file its name, through to the disk."""
    with part.open("rb+") as file:
        _through(file.fileno())
    part.replace(target)
    keep_names(target.parent)


def keep_names(folder: Path) -> None:
    """Make the names in a folder last; Windows does so by itself and has no call for it."""
    if sys.platform == "win32":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def is_on_network(folder: Path) -> bool:
    """Whether a folder lies on a network drive, as far as this system tells."""
    if sys.platform == "win32":
        import ctypes

        remote = 4  # DRIVE_REMOTE of GetDriveTypeW
        return int(ctypes.windll.kernel32.GetDriveTypeW(folder.resolve().anchor)) == remote
    try:
        mounts = Path("/proc/self/mounts").read_text("utf-8", "replace")
    except OSError:
        return False  # no such list on macOS: the log is tried, and given up if refused
    return is_network_mount(folder.resolve(), mounts)


def is_network_mount(folder: PurePath, mounts: str) -> bool:
    """Whether the mount that holds a folder is one of the network file systems.

    Parameters
    ----------
    folder
        An absolute path.
    mounts
        The text of /proc/self/mounts (fstab format, see fstab(5)).
    """
    depth, kind = -1, ""
    for line in mounts.splitlines():
        parts = line.split(" ")
        if len(parts) < 3:
            continue
        point = PurePath(parts[1].replace("\\040", " "))
        # Of two mounts on one point the later one is what programs see.
        if folder.is_relative_to(point) and len(point.parts) >= depth:
            depth, kind = len(point.parts), parts[2]
    return kind in _NETWORK_KINDS


def _through(handle: int) -> None:
    if sys.platform == "darwin":
        import fcntl

        fcntl.fcntl(handle, fcntl.F_FULLFSYNC)
        return
    os.fsync(handle)
