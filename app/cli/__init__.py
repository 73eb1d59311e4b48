"""The job without a window."""
