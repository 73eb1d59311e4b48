"""Tipwright: put every nozzle of a multi-tool printer on one datum."""

__version__ = "0.1.0"
