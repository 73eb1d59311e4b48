"""Facts and profiles to rows of the database and back.

Each kind of fact has a name and a version that stay as they are on disk, however
its class is called. When the fields of a kind change, its version grows and
`UPGRADES` gets a function that turns the older fields into the newer ones.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from app.errors import RecordsError
from app.job import facts
from app.job.facts import Fact
from app.job.profile import Profile
from app.records import codec

KINDS: Mapping[str, type[Fact]] = {
    "run-started": facts.RunStarted,
    "prepared": facts.Prepared,
    "sighted": facts.Sighted,
    "homed": facts.Homed,
    "camera-disturbed": facts.CameraDisturbed,
    "struck": facts.Struck,
    "restored": facts.Restored,
    "retyped": facts.Retyped,
    "mirror-accepted": facts.MirrorAccepted,
    "exported": facts.Exported,
    "entered": facts.Entered,
}
"""Name on disk of each kind of fact."""

PROFILE = "profile"
"""Name on disk of a machine's profile."""

VERSIONS: Mapping[str, int] = {**dict.fromkeys(KINDS, 1), "sighted": 2, PROFILE: 1}
"""Version in which each kind is written now."""

Upgrade = Callable[[dict[str, object]], dict[str, object]]


def _without_rim(fields: dict[str, object]) -> dict[str, object]:
    """Sightings of version 1 do not say what shape the rim had, nor how bright it was there."""
    return {**fields, "rim": None}


UPGRADES: Mapping[tuple[str, int], Upgrade] = {("sighted", 1): _without_rim}
"""From a kind and a version to the fields of the next version."""

_NAMES = {kind: name for name, kind in KINDS.items()}


@dataclass(frozen=True, slots=True, kw_only=True)
class Payload:
    """A fact or profile as it stands in a row.

    Attributes
    ----------
    kind, version
        Which kind, and in which version of its fields.
    text
        The fields as JSON text.
    """

    kind: str
    version: int
    text: str


def from_fact(fact: Fact) -> Payload:
    """Return a fact as it is to be stored.

    Raises
    ------
    ValueError, TypeError
        When a field holds what cannot be recorded, such as NaN; the message
        names the field.
    """
    kind = _NAMES.get(type(fact))
    if kind is None:
        raise TypeError(f"fact has to be one of the kinds of fact, not {type(fact).__name__}")
    return Payload(kind=kind, version=VERSIONS[kind], text=codec.to_text(fact))


def to_fact(payload: Payload, upgrades: Mapping[tuple[str, int], Upgrade] = UPGRADES) -> Fact:
    """Return the fact of a row.

    Raises
    ------
    RecordsError
        Names the kind or field that this program does not know.
    """
    kind = KINDS.get(payload.kind)
    if kind is None:
        raise RecordsError(
            f"The records hold a fact of the kind {payload.kind}, which this program does not "
            "know; a newer version of it wrote that. Use that version.",
            code="record-unreadable",
            path="kind",
            value=payload.kind,
        )
    return codec.from_plain(kind, _current_fields(payload, upgrades))


def from_profile(profile: Profile) -> Payload:
    """Return a machine's profile as it is to be stored; raises as `from_fact`."""
    return Payload(kind=PROFILE, version=VERSIONS[PROFILE], text=codec.to_text(profile))


def to_profile(payload: Payload, upgrades: Mapping[tuple[str, int], Upgrade] = UPGRADES) -> Profile:
    """Return the profile of a row; raises as `to_fact`."""
    return codec.from_plain(Profile, _current_fields(payload, upgrades))


def _current_fields(payload: Payload, upgrades: Mapping[tuple[str, int], Upgrade]) -> object:
    """Return the fields of a row as the present version of its kind has them."""
    newest = VERSIONS[payload.kind]
    fields = codec.parse(payload.text)
    for version in range(payload.version, newest):
        upgrade = upgrades.get((payload.kind, version))
        if upgrade is None or not isinstance(fields, dict):
            raise _unknown_version(payload)
        fields = upgrade(fields)
    if payload.version > newest:
        raise _unknown_version(payload)
    return fields


def _unknown_version(payload: Payload) -> RecordsError:
    return RecordsError(
        f"The records hold a {payload.kind} in version {payload.version}, which this program "
        "cannot read; use the version of the program that wrote it, or a newer one.",
        code="record-unreadable",
        path="version",
        value=payload.version,
    )
