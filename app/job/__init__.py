"""The run: plain Python, no Qt, no input or output."""
