"""The machines of the demonstration workshop, as their owners wrote them down."""

from __future__ import annotations

import tomllib
from importlib import resources

from app.errors import InputError
from app.job.profile import Profile, parse_profile

MACHINES = ("heron", "plover", "avocet")
"""The machines that a demonstration goes through."""


def bench_profile(name: str) -> Profile:
    """Return the profile of a machine of the bench, by its name.

    Raises
    ------
    InputError
        When the bench has no machine of that name.
    """
    folder = resources.files("app.bench") / "profiles"
    file = folder / f"{name.lower()}.toml"
    if not name.isidentifier() or not file.is_file():
        raise InputError(
            f'The bench has no machine "{name}"; it has {", ".join(MACHINES)}.',
            code="unknown-machine",
            value=name,
        )
    return parse_profile(tomllib.loads(file.read_text(encoding="utf-8")), file=file.name)
