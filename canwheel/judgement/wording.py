"""Words that the judgement and the views share: kinds of fault, distances, speed bands, lists."""

import math
from collections.abc import Iterable, Sequence

from canwheel.outcome import FaultKind

KIND_WORDS: dict[FaultKind, str] = {
    "no_signal": "no signal",
    "late_pickup": "late pick-up",
    "dropout": "drop-outs",
    "frozen": "frozen reading",
    "ring_damage": "ring damage",
    "wrong_ratio": "wrong ratio",
    "crossed": "crossed signals",
    "erratic": "erratic reading",
    "flagged_invalid": "flagged invalid",
    "message_missing": "message missing",
    "copied": "copied reading",
}

_STEP_KM = 0.1
_NEAR_CERTAIN = 0.9995
_HAIR = 1e-9  # so that 0.3 km, which binary numbers miss by a hair, is not rounded up to 0.4


def say_kinds(kinds: Iterable[FaultKind]) -> str:
    """``no signal and drop-outs``."""
    return say_list([KIND_WORDS[kind] for kind in kinds])


def say_list(items: Sequence[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    if len(items) < 2:  # noqa: PLR2004 - one item needs no "and"
        return "".join(items)
    return f"{', '.join(items[:-1])} and {items[-1]}"


def say_km_to_drive(km: float) -> str:
    """Distance still to do, rounded up so that doing it is enough: ``6.4 km``."""
    return f"{math.ceil(km / _STEP_KM - _HAIR) * _STEP_KM:.1f} km"


def say_band(band: tuple[float, float]) -> str:
    """``between 30 and 50 km/h``, ``below 15 km/h``, ``above 80 km/h``."""
    low, high = band
    if low == 0:
        return f"below {high:.0f} km/h"
    return f"above {low:.0f} km/h" if math.isinf(high) else f"between {low:.0f} and {high:.0f} km/h"


def say_confidence(share: float) -> str:
    """``96.9%``, and never the 100% that nobody has."""
    return f"{share:.1%}" if share < _NEAR_CERTAIN else "over 99.9%"
