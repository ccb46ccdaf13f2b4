"""Texts of two ends put into one: figures become ranges, inches and feet among them."""

from __future__ import annotations

import pytest

from siting.values.wording import spanned


@pytest.mark.parametrize(
    ("low", "high", "both"),
    [
        ("Found: 0.63 m.", "Found: 3.0 m.", "Found: 0.63 to 3.0 m."),
        ("Found: 23 in, error 20 in.", "Found: 9.8 ft, error 20 in.",
         "Found: 23 in to 9.8 ft, error 20 in."),
        ("Found: 9.8 ft wide.", "Found: 23 in wide.", "Found: 23 in to 9.8 ft wide."),
        ("It is 4 in high.", "It is 6 in high, and 2 ft long.", "It is 4 in high."),
    ],
)  # fmt: skip
def test_two_ends_are_one_text(low: str, high: str, both: str) -> None:
    assert spanned(low, high) == both
