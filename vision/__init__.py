"""Numbers only: find the bore, map pixels to millimetres, state the uncertainty."""
