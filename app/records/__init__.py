"""Runs, facts, frames and machines on disk."""

from app.records.store import Store, utc_now
from app.records.summaries import Event, RunSummary
from app.settings import data_folder as default_folder

__all__ = ["Event", "RunSummary", "Store", "default_folder", "utc_now"]
