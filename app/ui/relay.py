"""The one place where other threads reach the window: signals that carry frozen values.

Qt hands a signal that is emitted on another thread over to the receiver's thread, so
that nobody touches a widget from elsewhere.
"""

from __future__ import annotations

from PySide6.QtCore import QObject, Signal

from app.errors import RecordsError
from app.job.interfaces import CameraHealth
from app.wiring.glance import BurstEnd, BurstProgress
from app.wiring.recording import Recorded


class Relay(QObject):
    """Hears the threads of one run, and tells the desk on its own thread.

    Implements `app.wiring.watching.WatchListener` and
    `app.wiring.recording.RecordListener`.
    """

    picture = Signal()
    glance = Signal()
    progress = Signal(object)
    burst = Signal(object)
    health = Signal(object)
    fault = Signal(object)
    written = Signal(object)
    unwritten = Signal(object)

    def picture_ready(self) -> None:
        """Tell that a picture waits to be painted."""
        self.picture.emit()

    def glance_ready(self) -> None:
        """Tell that an answer of the finder waits."""
        self.glance.emit()

    def burst_told(self, progress: BurstProgress) -> None:
        """Tell how far a sighting is."""
        self.progress.emit(progress)

    def burst_ended(self, end: BurstEnd) -> None:
        """Tell how a sighting ended."""
        self.burst.emit(end)

    def health_changed(self, health: CameraHealth) -> None:
        """Tell how the camera is doing."""
        self.health.emit(health)

    def failed(self, error: Exception) -> None:
        """Tell what nobody foresaw on another thread."""
        self.fault.emit(error)

    def recorded(self, recorded: Recorded) -> None:
        """Tell that a fact is on disk."""
        self.written.emit(recorded)

    def not_recorded(self, error: RecordsError) -> None:
        """Tell that a fact could not be written."""
        self.unwritten.emit(error)
