"""What can be chosen on the start page, and what of it makes a run: no Qt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from urllib.parse import urlsplit

from app.cameras import ListedCamera
from app.dialects.registry import DIALECTS
from app.job.facts import PositionMode
from app.job.places import mode_problem
from app.job.profile import Profile

BENCH = "bench"


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineRow:
    """A machine that can be chosen.

    Attributes
    ----------
    key
        Tells it from all others, also from a demo machine of the same name.
    profile, simulated
        The machine, and whether it stands on the bench.
    """

    key: str
    profile: Profile
    simulated: bool


class CameraKind(StrEnum):
    """Where pictures can come from."""

    BENCH = "bench"
    USB = "usb"
    NETWORK = "network"
    FILE = "file"


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraRow:
    """A line of the list of cameras.

    Attributes
    ----------
    kind, title, words
        What it is, its name, and a line about it.
    source
        What `app.cameras.open_camera` takes; empty where a field below the list says it.
    """

    kind: CameraKind
    title: str
    words: str
    source: str = ""

    @property
    def key(self) -> str:
        """Tells it from the other lines."""
        return self.source or self.kind.value


@dataclass(frozen=True, slots=True, kw_only=True)
class Picked:
    """All that the person has picked so far; None and empty where nothing is."""

    machine: MachineRow | None
    camera: CameraRow | None
    address: str
    path: str
    mode: PositionMode | None


def machine_rows(known: Sequence[Profile], demo: Sequence[Profile]) -> tuple[MachineRow, ...]:
    """Return the machines in the order of the list: one's own, then those of the demo."""
    own = [MachineRow(key=f"known/{p.name}", profile=p, simulated=False) for p in known]
    shown = [MachineRow(key=f"demo/{p.name}", profile=p, simulated=True) for p in demo]
    return (*own, *shown)


def first_machine(rows: Sequence[MachineRow], *, last: str, first_demo: str) -> MachineRow | None:
    """Return the machine to begin with: the last one, else one's own, else the demo's."""
    for row in rows:
        if row.key == last:
            return row
    own = [row for row in rows if not row.simulated]
    favourite = [row for row in rows if row.key == first_demo]
    return next(iter([*own, *favourite, *rows]), None)


def camera_rows(
    listed: Sequence[ListedCamera], machine: MachineRow | None
) -> tuple[CameraRow, ...]:
    """Return the cameras that can look at a machine; one on the bench has no USB."""
    network = CameraRow(
        kind=CameraKind.NETWORK, title="Network camera", words="an address, such as http://..."
    )
    if machine is not None and machine.simulated:
        bench = CameraRow(
            kind=CameraKind.BENCH,
            title="The bench's camera",
            words="simulated, looks at the simulated machine",
            source=BENCH,
        )
        stream = CameraRow(
            kind=network.kind,
            title=network.title,
            words="the stream of a bench that another program serves",
        )
        return (bench, stream)
    usb = [
        CameraRow(kind=CameraKind.USB, title=camera.name, words="USB", source=camera.source)
        for camera in listed
    ]
    file = CameraRow(
        kind=CameraKind.FILE, title="Video or pictures", words="a file, or a folder of pictures"
    )
    return (*usb, network, file)


def first_camera(
    rows: Sequence[CameraRow], *, last_source: str, last_name: str
) -> CameraRow | None:
    """Return the camera to begin with: the last one by its name, else the first.

    Numbers of USB cameras change with each plugging, so the name goes before the number.
    """
    kind = kind_of(last_source)
    alike = [row for row in rows if row.kind is kind]
    for row in alike:
        if row.title == last_name and row.source == last_source:
            return row
    for row in alike:
        if row.kind is not CameraKind.USB or row.title == last_name:
            return row
    return next(iter(rows), None)


def kind_of(source: str) -> CameraKind | None:
    """Return what kind of camera a source names."""
    prefix = source.partition(":")[0]
    kinds = {
        BENCH: CameraKind.BENCH,
        "usb": CameraKind.USB,
        "http": CameraKind.NETWORK,
        "https": CameraKind.NETWORK,
        "file": CameraKind.FILE,
    }
    return kinds.get(prefix)


def source_of(picked: Picked) -> str:
    """Return the source that was picked; empty where none is."""
    camera = picked.camera
    if camera is None:
        return ""
    if camera.kind is CameraKind.NETWORK:
        return picked.address.strip()
    if camera.kind is CameraKind.FILE:
        return f"file:{picked.path.strip()}" if picked.path.strip() else ""
    return camera.source


def why_not(picked: Picked) -> str:
    """Return why no run can start with this, in one sentence; empty when one can."""
    if picked.machine is None:
        return "Choose a machine, or describe a new one."
    return _machine_problem(picked.machine) or _camera_problem(picked) or _mode_problem(picked)


def _machine_problem(machine: MachineRow) -> str:
    profile = machine.profile
    if profile.dialect in DIALECTS:
        return ""
    return (
        f"{profile.name} names the dialect {profile.dialect}, which is not known: edit the machine."
    )


def _camera_problem(picked: Picked) -> str:
    if picked.camera is None:
        return "Choose a camera."
    if picked.camera.kind is CameraKind.NETWORK:
        return address_problem(picked.address)
    if picked.camera.kind is CameraKind.FILE:
        return path_problem(picked.path)
    return ""


def _mode_problem(picked: Picked) -> str:
    if picked.machine is None:
        return ""
    if picked.mode is None:
        return "Choose how positions are told."
    return mode_problem(picked.machine.profile, picked.mode) or ""


def address_problem(address: str) -> str:
    """Return what is wrong with a network camera's address; empty when it may be one."""
    address = address.strip()
    if not address:
        return "Type the network camera's address, such as http://192.168.1.20:8080/stream."
    try:
        parts = urlsplit(address)
        usable = parts.scheme in ("http", "https") and bool(parts.hostname)
        usable = usable and (parts.port is None or parts.port > 0)
    except ValueError:
        usable = False
    if usable and not any(letter.isspace() for letter in address):
        return ""
    return "The address has to begin with http:// or https:// and name a host."


def path_problem(path: str) -> str:
    """Return what is wrong with the path of a video or folder; empty when it is there."""
    if not path.strip():
        return "Type the path of a video or of a folder of pictures."
    try:
        there = Path(path.strip()).expanduser().exists()
    except (OSError, RuntimeError, ValueError):
        there = False
    return "" if there else f"{path.strip()} is not there; check the path."


def possible_mode(profile: Profile, wanted: PositionMode) -> PositionMode | None:
    """Return the wanted way to tell positions, or the other one where only that works."""
    modes: tuple[PositionMode, ...] = (wanted, *PositionMode)
    for mode in modes:
        if mode_problem(profile, mode) is None:
            return mode
    return None
