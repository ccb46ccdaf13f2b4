"""Texts on their way to paper: made printable, cut to a length, split into sentences."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.ft2font import FT2Font

#: Font files carried by matplotlib that the packet is set with, beside those of the typesetter.
FONT_FILES = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf", "DejaVuSans-Oblique.ttf")
_SENTENCE_END = re.compile(r"(?<=[.?])\s+")
_POWER = re.compile(r"(?<=\d )m([23])(?!\w|\.\w)")
#: Letters that are joined without a space for so long are given places to break.
_LONGEST_WORD = 34


def font_paths() -> tuple[Path, ...]:
    """Paths of the font files that are handed to the typesetter."""
    folder = Path(mpl.get_data_path()) / "fonts" / "ttf"
    return tuple(folder / name for name in FONT_FILES)


def printable(text: object, most: int = 400) -> str:
    """Make any text fit for one paragraph: no control characters, no endless words, not too long.

    Parameters
    ----------
    text
        What a person typed into a file; None gives nothing.
    most
        Characters kept; the rest is left out and an ellipsis says so.
    """
    raw = "" if text is None else str(text)
    # A text that is far too long is not worth walking through to its end.
    kept = raw[: 4 * most]
    words = "".join(c if _is_drawn(c) else " " for c in kept).split()
    flat = " ".join(words)
    if len(flat) > most or len(raw) > len(kept):
        flat = flat[:most].rsplit(" ", 1)[0] if " " in flat[most // 2 : most] else flat[:most]
        flat = f"{flat.rstrip(' ,;:')} …"
    return re.sub(rf"(\S{{{_LONGEST_WORD}}})(?=\S)", "\\1\u200b", flat)


def _is_drawn(character: str) -> bool:
    # Marks of direction and joiners belong to a text; overrides could reorder what follows it.
    if character in "\u200c\u200d\u200e\u200f":
        return True
    return unicodedata.category(character) not in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")


def sentences(text: object, *, most: int = 400) -> list[str]:
    """Split a text into its sentences, each printable."""
    found: list[str] = []
    for piece in _SENTENCE_END.split(str(text or "").strip()):
        # What goes on in small letters goes on with the sentence: "e.g. grass".
        if found and piece[:1].islower():
            found[-1] += f" {piece}"
        elif piece:
            found.append(piece)
    return [printable(sentence, most) for sentence in found]


def raised(text: str) -> str:
    """Write square and cubic metres with a raised figure."""
    return _POWER.sub(lambda m: f"m{'²' if m[1] == '2' else '³'}", text)


def all_raised(data: Any) -> Any:
    """Write square and cubic metres so in every text of a nest of dicts and lists."""
    if isinstance(data, str):
        return raised(data)
    if isinstance(data, dict):
        return {key: all_raised(value) for key, value in data.items()}
    if isinstance(data, list):
        return [all_raised(value) for value in data]
    return data


def within(texts: Sequence[str], total: int, *, least: int = 60) -> list[str]:
    """Shorten texts that together are longer than a total, each to its share of it.

    Parameters
    ----------
    texts
        Printable texts.
    total
        Characters that all of them may have.
    least
        No text is cut shorter than this.
    """
    if sum(map(len, texts)) <= total:
        return list(texts)
    share = max(total // len(texts), least)
    return [printable(text, share) for text in texts]


def every_text(data: Any) -> Iterator[str]:
    """Every text in a nest of dicts and lists."""
    if isinstance(data, str):
        yield data
    elif isinstance(data, dict):
        for value in data.values():
            yield from every_text(value)
    elif isinstance(data, (list, tuple)):
        for value in data:
            yield from every_text(value)


@cache
def _drawn_by_fonts() -> frozenset[int]:
    return frozenset(FT2Font(str(font_paths()[0])).get_charmap())


def not_drawn(texts: Iterable[str]) -> tuple[str, ...]:
    """Characters that no font of the packet has a shape for, each once, in their order."""
    have = _drawn_by_fonts()
    found = {c for text in set(texts) for c in text if ord(c) not in have and c != "\u200b"}
    return tuple(sorted(c for c in found if not unicodedata.combining(c) and not c.isspace()))
