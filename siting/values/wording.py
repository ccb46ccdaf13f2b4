"""Numbers as they stand in a sentence: two or three significant figures, with their unit."""

from __future__ import annotations

import re
from collections.abc import Sequence

from terrain.values.reader_units import between, exactly, figures, quantity

#: A figure in a sentence.
_FIGURE = re.compile(r"(\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+(?:\.\d+)?)")
_LENGTH = re.compile(rf"{_FIGURE.pattern} (in|ft)\b")


__all__ = [
    "between",
    "centimetres",
    "counted",
    "exactly",
    "figures",
    "first_upper",
    "flow",
    "hectares",
    "listed",
    "metres",
    "percent",
    "quantity",
    "sentences",
    "signed_metres",
]


def metres(value: float) -> str:
    """Write a length; from 2 km on in kilometres."""
    return quantity(value, "m")


def signed_metres(value: float) -> str:
    """Write a height above or below something, with its sign."""
    return f"{'-' if value < 0 else '+'}{quantity(abs(value), 'm')}"


def centimetres(value_m: float) -> str:
    """Write the size of a stone, given in metres, in centimetres; from 1 m on in metres."""
    return quantity(100 * value_m, "cm") if value_m < 0.995 else metres(value_m)


def hectares(value: float) -> str:
    """Write an area."""
    return quantity(value, "ha")


def percent(share: float) -> str:
    """Write a slope or a share in per cent."""
    return f"{figures(100 * share)} %"


def flow(value: float) -> str:
    """Write a peak flow."""
    return quantity(value, "m3/s")


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
        return _spanned_units(low, high)
    out = list(a)
    for i in range(1, len(a), 2):
        if a[i] != b[i]:
            ends = sorted((a[i], b[i]), key=lambda text: float(text.replace(",", "")))
            out[i] = " to ".join(ends)
    return "".join(out)


def alike(low: str, high: str) -> bool:
    """Whether two texts are the same but for their figures, so that `spanned` makes them one."""
    return low == high or spanned(low, high) != low


def told_at_ends(ends: Sequence[tuple[str, Sequence[str]]]) -> tuple[str, ...]:
    """Put together what is said at both ends of a range.

    Sentences that differ in figures only become one with ranges. What is said at one end only, or
    in other words there, names that end.

    Parameters
    ----------
    ends
        Each end in words, such as ``If it is 0.7 m wide``, and what is said there in order; one or
        two of them.
    """
    if len(ends) < 2:
        return tuple(text for _, told in ends for text in told)
    (first, low), (last, high) = ends
    out: list[str] = []
    at = 0
    for text in low:
        match = next((i for i in range(at, len(high)) if _one(text, high[i])), None)
        if match is None:
            out.append(f"{first}: {text}")
            continue
        out += [f"{last}: {other}" for other in high[at:match]]
        out.append(_of_both((first, text), (last, high[match])))
        at = match + 1
    return (*out, *(f"{last}: {other}" for other in high[at:]))


def _one(low: str, high: str) -> bool:
    """Whether two sentences are one but for figures, or for what one of them adds at its end."""
    return alike(low, high) or _goes_on(low, high) or _goes_on(high, low)


def _goes_on(longer: str, shorter: str) -> bool:
    return len(longer) > len(shorter) and longer.startswith(f"{shorter.removesuffix('.')}; ")


def _of_both(low: tuple[str, str], high: tuple[str, str]) -> str:
    if alike(low[1], high[1]):
        return spanned(low[1], high[1])
    (word, longer), (_, shorter) = (low, high) if _goes_on(low[1], high[1]) else (high, low)
    return f"{shorter} {word}: {longer[len(shorter.removesuffix('.')) + 2 :]}"


def _spanned_units(low: str, high: str) -> str:
    """The same where a shorter length is in inches and the longer one in feet."""
    a, b = _LENGTH.split(low), _LENGTH.split(high)
    if len(a) != len(b) or a[::3] != b[::3]:
        return low
    out = [a[0]]
    for i in range(1, len(a), 3):
        one, other = f"{a[i]} {a[i + 1]}", f"{b[i]} {b[i + 1]}"
        if a[i + 1] == b[i + 1]:
            out.append(spanned(one, other))
        else:
            out.append(f"{one} to {other}" if a[i + 1] == "in" else f"{other} to {one}")
        out.append(a[i + 2])
    return "".join(out)


def first_upper(text: str) -> str:
    """Begin a text with a capital letter; the others stay as they are."""
    return text[:1].upper() + text[1:]


def sentences(parts: list[str]) -> str:
    """Join sentences, each once, in their order."""
    return " ".join(dict.fromkeys(p.strip() for p in parts if p.strip()))
