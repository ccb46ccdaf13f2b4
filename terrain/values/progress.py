"""How long work tells how far it is: a callback, never a bar."""

from __future__ import annotations

from collections.abc import Callable

#: Called with what is being done and how much of it is done, 0 to 1.
Progress = Callable[[str, float], None]


def silent(what: str, done: float) -> None:
    """Ignore progress."""
