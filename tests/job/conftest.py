"""What the tests of the job share: a machine on paper, whose truth is known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pytest
from numpy.typing import NDArray

from app.dialects.values import Layout, OffsetMm
from app.job.facts import (
    Approach,
    Entry,
    Fact,
    Position,
    PositionMode,
    Prepared,
    Purpose,
    RunStarted,
    Sighted,
)
from app.job.profile import Profile, Tool
from app.job.run import Run, fold
from app.job.sheet import PREPARATION
from vision.geometry import CovPx2, PointPx

JOGS = ((0.0, 0.0), (0.6, 0.0), (0.18, 0.57), (-0.48, 0.36), (-0.48, -0.36), (0.18, -0.57))

TINY = CovPx2(1e-6, 0.0, 1e-6)


def make_profile(**changes: object) -> Profile:
    fields: dict[str, object] = {
        "name": "Plover",
        "layout": Layout.TOOL_CHANGER,
        "dialect": "reprapfirmware",
        "tools": tuple(Tool(number=n) for n in range(3)),
        "whole_steps": True,
    }
    return Profile(**(fields | changes))  # type: ignore[arg-type]  # checked by the dataclass users


@dataclass
class PaperMachine:
    """A machine and a camera on paper: p = p0 + M (C + n), with no noise."""

    profile: Profile
    vectors_mm: Mapping[int, tuple[float, float]]
    matrix: NDArray[np.float64] = field(
        default_factory=lambda: np.array([[180.0, 12.0], [-11.0, 182.0]])
    )
    origin_px: tuple[float, float] = (320.0, 240.0)
    origin_mm: tuple[float, float] = (150.0, 100.0)
    mode: PositionMode = PositionMode.SHOWN

    def centre(self, tool: int, carriage: Sequence[float]) -> PointPx:
        stands = np.array(carriage) + self.vectors_mm[tool] - np.array(self.origin_mm)
        u, v = np.array(self.origin_px) + self.matrix @ stands
        return PointPx(float(u), float(v))

    def sighted(
        self,
        tool: int,
        shown: Position,
        *,
        purpose: Purpose = Purpose.TOOL,
        d: OffsetMm = OffsetMm(),  # noqa: B008 - a frozen value
        approach: Approach = Approach(1, 1),  # noqa: B008 - a frozen value
    ) -> Sighted:
        return Sighted(
            purpose=purpose,
            tool=tool,
            position=shown,
            in_display_mm=d,
            approach=approach,
            centre_px=self.centre(tool, (shown.x - d.x, shown.y - d.y)),
            temporal_cov_px2=TINY,
            static_cov_px2=TINY,
            radius_px=36.0,
            blur_px=1.2,
            frame_centres_px=(),
            picture_size_px=(640, 480),
            camera_generation=1,
            algorithm="paper",
        )

    def started(self) -> RunStarted:
        return RunStarted(
            profile=self.profile,
            camera="paper",
            mode=self.mode,
            simulated=True,
            program_version="0",
        )


def run_of(*facts: Fact) -> Run:
    return fold(entries_of(*facts))


def entries_of(*facts: Fact) -> tuple[Entry, ...]:
    return tuple(
        Entry(number=i, at=f"2026-11-25T10:00:{i:02d}Z", fact=fact)
        for i, fact in enumerate(facts, start=1)
    )


@pytest.fixture
def paper() -> PaperMachine:
    return PaperMachine(
        profile=make_profile(), vectors_mm={0: (0.0, 0.0), 1: (-0.34, 0.12), 2: (0.21, -0.5)}
    )


@pytest.fixture
def scale_facts(paper: PaperMachine) -> list[Fact]:
    """Return start, preparation, and six good places."""
    return [
        paper.started(),
        Prepared(ticked=PREPARATION),
        *(
            paper.sighted(0, Position(150.0 + dx, 100.0 + dy, 5.0), purpose=Purpose.SCALE)
            for dx, dy in JOGS
        ),
    ]
