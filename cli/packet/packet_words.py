"""Plain words of the sheets: titles of what is to be built."""

from __future__ import annotations

from typing import Final

from siting.values.wording import first_upper

_RING: Final = "Refer to an engineer"
_HOLD: Final = "Hold: measure again"


def title_of(label: str, control: str) -> str:
    """Name of what is to be built, as it stands at the top of a sheet."""
    if control == "refer":
        return _RING
    if control == "hold":
        return _HOLD
    return first_upper(label.strip()) or "Structure without a name"


def short_title(label: str, control: str) -> str:
    """Name of what is to be built, as it stands in lists."""
    return "Ask an engineer" if control == "refer" else title_of(label, control)
