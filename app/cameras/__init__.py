"""Frame sources behind one protocol."""
