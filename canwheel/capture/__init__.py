"""A recording to `Frames`, and back."""
