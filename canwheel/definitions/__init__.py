"""DBC file to a `WheelLayout`: which signal is which corner, and raw columns to values."""
