"""Groups of samples that belong together."""

import numpy as np
from numpy.typing import NDArray


def runs(marked: NDArray[np.bool_], parting: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last position of each group of marked samples that no parting sample divides.

    Parameters
    ----------
    marked, parting : (n,) each.
    """
    at = np.flatnonzero(marked)
    if len(at) == 0:
        return []
    new = np.flatnonzero(np.diff(np.cumsum(parting)[at])) + 1
    firsts, lasts = at[np.concatenate(([0], new))], at[np.concatenate((new - 1, [len(at) - 1]))]
    return [(int(first), int(last)) for first, last in zip(firsts, lasts, strict=True)]
