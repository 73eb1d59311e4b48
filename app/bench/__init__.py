"""The simulated workshop: one World, seen by a camera and by a machine."""
