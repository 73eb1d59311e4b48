"""What can be done about an entry that disagrees with the picture: no Qt."""

from __future__ import annotations

from dataclasses import dataclass

from app.job.facts import Position
from app.job.jogs import decimals_of, rounded_step
from app.job.run import Run
from app.job.sheet import MendScale
from app.ui.intentions import Retype
from vision.pixel_scale import DoubtfulEntry
from vision.pixel_scale.words import ordinal


@dataclass(frozen=True, slots=True, kw_only=True)
class Mend:
    """One doubtful entry and what the picture would have in its place.

    Attributes
    ----------
    number
        Its entry number in the run.
    name
        "4th", as the sentence calls it.
    reads, picture_says
        The position as it was typed, and the one that the picture suggests, both as
        the display shows them and in whole steps of it.
    decimals
        Places of the display.
    """

    number: int
    name: str
    reads: Position
    picture_says: Position
    decimals: int

    @property
    def take_words(self) -> str:
        """What the button says that takes the picture's value."""
        return f"Take {' '.join(self._differing())}"

    @property
    def retype(self) -> Retype:
        """The intention behind that button."""
        return Retype(number=self.number, position=self.picture_says)

    def typed(self, x: float, y: float) -> Retype:
        """Return the intention to put another position in the entry's place."""
        return Retype(number=self.number, position=Position(x, y, self.reads.z))

    def _differing(self) -> list[str]:
        old, new = self.reads, self.picture_says
        said = [
            f"{axis} {to:.{self.decimals}f}"
            for axis, was, to in (("X", old.x, new.x), ("Y", old.y, new.y))
            if abs(was - to) > 1e-9
        ]
        # Less than a step of the display apart: the display would read the same.
        return said or ["the picture's value"]


def mends(step: MendScale, run: Run) -> tuple[Mend, ...]:
    """Return the doubtful entries, most likely first, ready to be mended.

    The picture judges carriage coordinates; the display shows them with the tool's
    offset in them, so that is put back here.
    """
    return tuple(
        _mend(entry, number, run) for entry, number in zip(step.doubtful, step.numbers, strict=True)
    )


def picture_retype(step: MendScale, run: Run) -> Retype | None:
    """Return what the key for the picture's value does; None without a doubtful entry."""
    made = mends(step, run)
    return made[0].retype if made else None


def last_scale_entry(run: Run) -> int | None:
    """Return the number of the last jog that counts for the pixel scale."""
    jogs = run.scale_sightings()
    return jogs[-1].number if jogs else None


def _mend(entry: DoubtfulEntry, number: int, run: Run) -> Mend:
    seen = next(s.seen for s in run.sightings if s.number == number)
    step_mm = run.profile.display_step_mm
    d = seen.in_display_mm
    return Mend(
        number=number,
        name=ordinal(entry.index + 1),
        reads=seen.position,
        picture_says=Position(
            rounded_step(entry.suggested_mm.x + d.x, step_mm),
            rounded_step(entry.suggested_mm.y + d.y, step_mm),
            seen.position.z,
        ),
        decimals=decimals_of(step_mm),
    )
