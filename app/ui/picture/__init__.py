"""The live picture with what is drawn over it, and the two thin columns beside it."""

from app.ui.picture.columns import Columns, LevelColumn
from app.ui.picture.live_view import LiveView

__all__ = ["Columns", "LevelColumn", "LiveView"]
