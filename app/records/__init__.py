"""Runs, facts, frames and machines on disk."""

from app.records.disk import default_folder
from app.records.store import Store, utc_now
from app.records.summaries import Event, RunSummary

__all__ = ["Event", "RunSummary", "Store", "default_folder", "utc_now"]
