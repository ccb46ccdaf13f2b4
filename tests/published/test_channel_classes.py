"""Classes of channels by their proportions, at the limits that were published."""

from __future__ import annotations

import numpy as np
import pytest

from siting.channels.channel_classes import entrenchment_class


@pytest.mark.parametrize(
    ("ratio", "name"),
    [
        (1.0, "entrenched"),
        (1.39, "entrenched"),
        (1.41, "moderately entrenched"),
        (2.2, "moderately entrenched"),
        (2.21, "slightly entrenched"),
        (40.0, "slightly entrenched"),
        (np.nan, ""),
    ],
)
def test_entrenchment(ratio: float, name: str) -> None:
    """Rosgen, 1994, A classification of natural rivers, Catena 22: limits 1.4 and 2.2."""
    assert entrenchment_class(np.array([ratio]))[0] == name
