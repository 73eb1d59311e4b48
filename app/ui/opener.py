"""Opens a run beside the window: cameras and disks may take their time."""

from __future__ import annotations

import logging
import threading
from collections.abc import Mapping
from dataclasses import dataclass

from PySide6.QtCore import QObject, Signal

from app.errors import TipwrightError
from app.records import Store
from app.wiring.history import PastOffset, past_offsets
from app.wiring.opening import OpenedRun, RunChoice, open_run

_LOG = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ready:
    """A run that was opened, with what earlier ones on this machine found."""

    choice: RunChoice
    opened: OpenedRun
    history: Mapping[int, tuple[PastOffset, ...]]


class Opener(QObject):
    """Opens one run at a time on a thread of its own."""

    ready = Signal(object)
    """A `Ready`."""
    refused = Signal(object)
    """The exception: a `TipwrightError`, or one that nobody foresaw."""

    def __init__(self, store: Store, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._store = store
        self._thread: threading.Thread | None = None

    @property
    def is_busy(self) -> bool:
        """Whether a run is being opened."""
        return self._thread is not None and self._thread.is_alive()

    def open(self, choice: RunChoice) -> bool:
        """Begin to open a run; False while another one is being opened."""
        if self.is_busy:
            return False
        self._thread = threading.Thread(
            target=self._open, args=(choice,), name="opening", daemon=True
        )
        self._thread.start()
        return True

    def close(self, timeout_s: float = 10.0) -> None:
        """Wait for the thread, for a while."""
        if self._thread is not None:
            self._thread.join(timeout_s)

    def _open(self, choice: RunChoice) -> None:
        try:
            opened = open_run(choice, self._store)
            history = past_offsets(
                self._store,
                choice.profile.name,
                simulated=choice.simulated,
                before=opened.run_id,
            )
        except TipwrightError as error:
            self.refused.emit(error)
        except Exception as error:  # noqa: BLE001 - the top of a thread: logged and told
            _LOG.exception("the run could not be opened")
            self.refused.emit(error)
        else:
            self.ready.emit(Ready(choice=choice, opened=opened, history=history))
