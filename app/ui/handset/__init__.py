"""The bench's own panel: it stands in for the one that a real machine has."""

from app.ui.handset.driver import HandsetDriver
from app.ui.handset.handset import Handset

__all__ = ["Handset", "HandsetDriver"]
