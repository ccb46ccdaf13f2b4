"""Errors of walking orders."""

from __future__ import annotations

from terrain.values.errors import GullywalkError


class WalkError(GullywalkError, ValueError):
    """A walk that cannot be planned: nowhere to start, no way, or not enough time."""
