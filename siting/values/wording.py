"""Numbers as they stand in a sentence: two or three significant figures, with their unit."""

from __future__ import annotations

import math
import re

#: A figure in a sentence.
_FIGURE = re.compile(r"(\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+(?:\.\d+)?)")


def figures(value: float, digits: int = 2) -> str:
    """Write a number with so many significant figures, without an exponent."""
    if not math.isfinite(value):
        return "unknown"
    if value == 0:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    rounded = round(value, places)
    # rounding up may have added a digit in front: 0.996 is 1.0, not 1.00
    places = digits - 1 - math.floor(math.log10(abs(rounded)))
    return f"{rounded:.{max(places, 0)}f}"


def metres(value: float) -> str:
    """Write a length; from 2 km on in kilometres."""
    if math.isfinite(value) and abs(value) >= 2000:
        return f"{figures(value / 1000)} km"
    return f"{figures(value, 3 if abs(value) >= 100 else 2)} m"


def hectares(value: float) -> str:
    """Write an area."""
    return f"{figures(value)} ha"


def percent(share: float) -> str:
    """Write a slope or a share in per cent."""
    return f"{figures(100 * share)} %"


def flow(value: float) -> str:
    """Write a peak flow."""
    return f"{figures(value)} m3/s"


def counted(count: int, what: str, plural: str = "") -> str:
    """Write a number of things with the right ending."""
    return f"{count:,} {what if count == 1 else plural or what + 's'}"


def listed(parts: list[str], *, last: str = "and") -> str:
    """Join words with commas and a last ``and``."""
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} {last} {parts[-1]}"


def spanned(low: str, high: str) -> str:
    """Put two texts into one whose figures are ranges, where only figures differ.

    Other texts cannot be put together: then the first one is returned as it is.
    """
    a, b = _FIGURE.split(low), _FIGURE.split(high)
    if a[::2] != b[::2]:
        return low
    out = list(a)
    for i in range(1, len(a), 2):
        if a[i] != b[i]:
            ends = sorted((a[i], b[i]), key=lambda text: float(text.replace(",", "")))
            out[i] = " to ".join(ends)
    return "".join(out)


def first_upper(text: str) -> str:
    """Begin a text with a capital letter; the others stay as they are."""
    return text[:1].upper() + text[1:]


def sentences(parts: list[str]) -> str:
    """Join sentences, each once, in their order."""
    return " ".join(dict.fromkeys(p.strip() for p in parts if p.strip()))
