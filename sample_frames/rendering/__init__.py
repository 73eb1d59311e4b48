"""How the sample frames are made: a nozzle tip in three dimensions, seen by a real lens."""
