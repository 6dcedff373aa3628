"""`Frames` and a `WheelLayout` to a `WheelTrack`: four speeds, motion, what the drive covered."""
