"""Finished runs as text, tables and files. Pure functions from results to text."""

from app.export.offsets_json import offsets_object
from app.export.tables import offsets_csv
from app.export.text import budget_table, offsets_table, paste_text

__all__ = ["budget_table", "offsets_csv", "offsets_object", "offsets_table", "paste_text"]
