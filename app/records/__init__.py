"""Runs, facts, frames and machines on disk."""
