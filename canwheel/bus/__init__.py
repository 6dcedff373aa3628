"""An adapter on the bus to `Frames`: open, listen only, record, never send."""
