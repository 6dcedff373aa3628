"""Find the faulty wheel-speed corner of a car from a recorded CAN drive, and prove the repair."""
