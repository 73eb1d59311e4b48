"""A start page on paper: no records, no camera."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from pytestqt.qtbot import QtBot

from app.bench import MACHINES, bench_profile
from app.cameras import ListedCamera
from app.job.profile import Profile
from app.records.summaries import RunSummary
from app.ui.look.colours import LIGHT
from app.ui.preferences import Preferences
from app.ui.start.page import StartPage
from app.ui.start.pictures import Image
from app.wiring.opening import RunChoice

DEMO = tuple(bench_profile(name) for name in MACHINES)

NOW = datetime(2026, 11, 25, 16, 0, tzinfo=UTC)

RUN = RunSummary(
    run_id="20261125-140300-plover-3fa9",
    machine="Plover",
    started_at="2026-11-25T13:50:00.000Z",
    last_at="2026-11-25T14:03:00.000Z",
    n_facts=7,
    simulated=True,
    exported=False,
    finished=False,
)

MICROSCOPE = ListedCamera(name="Microscope", source="usb:0")
WEBCAM = ListedCamera(name="Webcam", source="usb:2")


def dark_picture(_source: str) -> Image:
    return np.zeros((48, 64, 3), dtype=np.uint8)


class Start:
    """Makes pages, and keeps what they emit and save."""

    def __init__(self, qtbot: QtBot, folder: Path) -> None:
        self.qtbot = qtbot
        self.folder = folder
        self.choices: list[RunChoice] = []
        self.saved: list[Profile] = []
        self.fault: Exception | None = None
        self.looks: Callable[[str], Image] = dark_picture
        self.later: Sequence[ListedCamera] = ()
        self.pages: list[StartPage] = []

    def preferences(self) -> Preferences:
        return Preferences(self.folder)

    def save(self, profile: Profile) -> None:
        if self.fault is not None:
            raise self.fault
        self.saved.append(profile)

    def page(
        self,
        *,
        machines: Sequence[Profile] = (),
        cameras: Sequence[ListedCamera] = (),
        unfinished: RunSummary | None = None,
        size: tuple[int, int] = (1024, 700),
    ) -> StartPage:
        page = StartPage(
            LIGHT,
            machines=machines,
            demo=DEMO,
            cameras=cameras,
            unfinished=unfinished,
            preferences=self.preferences(),
            save_machine=self.save,
            look=lambda source: self.looks(source),
            list_again=lambda: self.later,
            now=lambda: NOW,
        )
        self.qtbot.addWidget(page)
        page.chosen.connect(self.choices.append)
        page.resize(*size)
        page.show()
        page.activateWindow()
        self.qtbot.waitUntil(page.isActiveWindow)
        self.pages.append(page)
        return page


@pytest.fixture
def start(qtbot: QtBot, tmp_path: Path) -> Iterator[Start]:
    made = Start(qtbot, tmp_path)
    yield made
    for page in made.pages:
        page.close()
