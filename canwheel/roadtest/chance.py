"""Small draws that read like what they mean."""

import numpy as np


def happens(rng: np.random.Generator, share: float) -> bool:
    """Whether something happens that happens in this share of all cases."""
    return bool(rng.random() < share)


def sign(rng: np.random.Generator) -> int:
    """Plus or minus one, evenly: left or right, more or less."""
    return 1 if happens(rng, 0.5) else -1
