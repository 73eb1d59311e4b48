"""Tipwright: put every nozzle of a multi-tool printer on one datum."""
