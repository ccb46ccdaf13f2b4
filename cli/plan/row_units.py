"""Tables whose rows differ in unit: numbers turned by the unit that stands beside them."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from cli.plan.field_types import US_WORDS

#: US unit -> SI unit and what one US unit is in it; of several, the first of the table.
_SI_WORDS: dict[str, tuple[str, float]] = {}
for _si, (_us, _factor) in US_WORDS.items():
    if _si != "cm":  # inches come back as millimetres
        _SI_WORDS.setdefault(_us, (_si, 1.0 / _factor))


def us_factors(units: NDArray[Any]) -> NDArray[np.float64]:
    """What to multiply each row's number with; 1 where its unit has no US counterpart."""
    return np.array([US_WORDS.get(unit or "", ("", 1.0))[1] for unit in units], dtype=np.float64)


def us_words(units: NDArray[Any]) -> NDArray[np.object_]:
    """US unit of each row."""
    return _texts([US_WORDS[u][0] if u in US_WORDS else u for u in units])


def si_factors(units: NDArray[Any]) -> NDArray[np.float64]:
    """What to multiply each row's number with to get back to SI; 1 where it is in SI."""
    return np.array([_SI_WORDS.get(unit or "", ("", 1.0))[1] for unit in units], dtype=np.float64)


def si_words(units: NDArray[Any]) -> NDArray[np.object_]:
    """SI unit of each row."""
    return _texts([_SI_WORDS[u][0] if u in _SI_WORDS else u for u in units])


def _texts(values: list[str | None]) -> NDArray[np.object_]:
    out = np.empty(len(values), dtype=object)
    out[:] = values
    return out
