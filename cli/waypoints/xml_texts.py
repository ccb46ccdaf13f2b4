"""Texts that may go into XML and onto a small screen, whatever they hold."""

from __future__ import annotations

import re

#: What XML 1.0 does not allow, and signs that only turn the direction of the text around them.
_NOT_ALLOWED = re.compile(
    "[^\\t\\n\\r\\u0020-\\ud7ff\\ue000-\\ufffd\\U00010000-\\U0010ffff]"
    "|[\\u200e\\u200f\\u202a-\\u202e\\u2066-\\u2069\\ufeff]|[\\x7f-\\x9f]"
)
_MORE = "..."


def plain(text: object, most: int) -> str:
    """Make one short line of a text.

    Parameters
    ----------
    text
        Anything; None gives nothing.
    most
        Longest line; what is longer is cut, at a space where one is near, and ends in dots.

    Returns
    -------
    str
        Without control characters and line ends. Accents and scripts of all kinds stay.
    """
    line = " ".join(_NOT_ALLOWED.sub(" ", "" if text is None else str(text)).split())
    if len(line) <= most:
        return line
    cut = line[: most - len(_MORE)]
    space = cut.rfind(" ")
    if space > most // 2:
        cut = cut[:space]
    return cut.rstrip(" ,;:.") + _MORE


def sentences(text: object, most: int) -> str:
    """Keep as many whole sentences of a text as fit; where not even one does, cut it."""
    line = plain(text, 10 * most)
    kept = ""
    for sentence in re.split(r"(?<=[.?])\s+(?=[^\W\d_])", line):
        longer = f"{kept} {sentence}".strip()
        if len(longer) > most or sentence.endswith(_MORE):
            break
        kept = longer
    return kept or plain(line, most)
