"""The right column: the correction, and the task at hand."""
