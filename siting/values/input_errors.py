"""Errors of the siting package: what was found, what was expected, what to do."""

from __future__ import annotations

from terrain.values.errors import GullywalkError


class RulesError(GullywalkError, ValueError):
    """A file of limits that cannot be used."""


class CostError(GullywalkError, ValueError):
    """A file of prices that cannot be used."""


class RecordError(GullywalkError, ValueError):
    """What a plan keeps of its own making cannot be used."""


class FieldRowsError(GullywalkError, ValueError):
    """Measurements from the field that cannot be used as a whole."""
