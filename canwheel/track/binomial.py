"""How likely chance alone brings about so many of some trials."""

import math


def binomial_tail(count: int, trials: int, share: float) -> float:
    """Chance of `count` or more successes in `trials`, each with probability `share`.

    Raises
    ------
    ValueError : a share outside 0 to 1, or a negative count.
    """
    if not 0 <= share <= 1 or count < 0 or trials < 0:
        raise ValueError(f"no binomial tail of {count} in {trials} at {share}")
    if count == 0 or share == 1:
        return 1.0 if count <= trials else 0.0
    if share == 0:
        return 0.0
    log_in, log_out = math.log(share), math.log1p(-share)
    terms = (
        math.lgamma(trials + 1)
        - math.lgamma(k + 1)
        - math.lgamma(trials - k + 1)
        + k * log_in
        + (trials - k) * log_out
        for k in range(count, trials + 1)
    )
    return min(1.0, math.fsum(map(math.exp, terms)))
