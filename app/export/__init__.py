"""Finished runs as text, tables and files."""
