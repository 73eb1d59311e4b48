"""What the offsets are worked out from: sightings, and what is known of the machine.

Both a run and a job file come down to this, so that there is one way to work
offsets out.
"""

from __future__ import annotations

from dataclasses import dataclass

from app.dialects.values import OffsetMm
from app.job.facts import Approach, Position
from app.job.profile import Profile
from vision.bore import SeenRim
from vision.geometry import CovPx2, PointMm, PointPx


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """One sighting, as far as the offsets need it.

    Attributes
    ----------
    path
        Where it comes from, for messages: ``sightings[3]`` of a job file, or
        ``entry 12`` of a run.
    tool
        Which tool's bore was seen.
    shown_mm, in_display_mm
        What the display showed, and how much of the tool's offset that contains.
    approach
        From which side the position was reached.
    centre_px, temporal_cov_px2, static_cov_px2
        The centre with the two parts of its covariance.
    radius_px
        Rim radius, where it was measured.
    blur_px
        Blur of the rim, where it was measured.
    rim
        Its shape and light, where they were written down.
    pickup
        Number of the pick-up: it changes whenever another tool was taken or the
        machine was homed, and sightings of one pick-up share its error.
    """

    path: str
    tool: int
    shown_mm: Position
    in_display_mm: OffsetMm
    approach: Approach
    centre_px: PointPx
    temporal_cov_px2: CovPx2
    static_cov_px2: CovPx2
    radius_px: float | None = None
    blur_px: float | None = None
    rim: SeenRim | None = None
    pickup: int = 0

    @property
    def cov_px2(self) -> CovPx2:
        """Covariance of the centre: temporal plus static."""
        t, s = self.temporal_cov_px2, self.static_cov_px2
        return CovPx2(t.uu + s.uu, t.uv + s.uv, t.vv + s.vv)

    @property
    def carriage_mm(self) -> PointMm:
        """The carriage coordinate with no offset in it: C = shown - in_display."""
        return PointMm(
            self.shown_mm.x - self.in_display_mm.x, self.shown_mm.y - self.in_display_mm.y
        )

    @property
    def carriage_z_mm(self) -> float | None:
        """The same for z; None where nobody read it."""
        return None if self.shown_mm.z is None else self.shown_mm.z - self.in_display_mm.z


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineFigures:
    """How exactly the machine goes where it says: standard deviations, um unless named else.

    Attributes
    ----------
    display_step_mm
        Last digit of the display.
    whole_steps
        Every move since homing was a whole number of displayed steps, so that
        the display hides nothing.
    motor_step_mm
        One step of the motors; a commanded place is rounded to it.
    repeatability_um
        Of coming back from the same side.
    reversal_um
        Backlash; None when unknown.
    pickup_repeatability_um
        Of picking a tool up, or homing its carriage, again.
    """

    display_step_mm: float = 0.01
    whole_steps: bool = False
    motor_step_mm: float = 0.0125
    repeatability_um: float = 5.0
    reversal_um: float | None = None
    pickup_repeatability_um: float = 5.0

    @classmethod
    def of(cls, profile: Profile) -> MachineFigures:
        """Take the figures from a machine's profile."""
        return cls(
            display_step_mm=profile.display_step_mm,
            whole_steps=profile.whole_steps,
            motor_step_mm=profile.motor_step_mm,
            repeatability_um=profile.repeatability_um,
            reversal_um=profile.reversal_um,
            pickup_repeatability_um=profile.pickup_repeatability_um,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """All that was seen, in order of time, and what is known of the machine."""

    reference_tool: int
    figures: MachineFigures
    scale_jogs: tuple[Observation, ...]
    sightings: tuple[Observation, ...]

    def of_tool(self, tool: int) -> tuple[Observation, ...]:
        """Return the sightings of one tool, in order of time."""
        return tuple(seen for seen in self.sightings if seen.tool == tool)

    @property
    def tools(self) -> tuple[int, ...]:
        """All tools that were sighted, the reference first, then by number."""
        others = sorted({seen.tool for seen in self.sightings} - {self.reference_tool})
        return (self.reference_tool, *others)


def number_pickups(tools: tuple[int, ...], homed_before: tuple[bool, ...]) -> tuple[int, ...]:
    """Return the number of the pick-up of each sighting in a sequence.

    Parameters
    ----------
    tools
        The tool of each sighting, in order of time.
    homed_before
        Whether the machine was homed between the sighting before and this one.
    """
    numbers: list[int] = []
    for i, tool in enumerate(tools):
        new = i > 0 and (tools[i - 1] != tool or homed_before[i])
        numbers.append((numbers[-1] if numbers else 0) + int(new))
    return tuple(numbers)
