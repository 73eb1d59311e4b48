"""The run sheet along the bottom, and the card that was opened."""
