"""Errors of the flood package: what was found, what was expected, what to do."""

from __future__ import annotations

from terrain.values.errors import GullywalkError


class FloodInputError(GullywalkError, ValueError):
    """An input of a flood method that is missing or impossible."""


class RainfallError(GullywalkError, ValueError):
    """A rainfall table that cannot be read or cannot be true."""


class RainfallRangeError(RainfallError):
    """A duration or return period that the rainfall table does not cover."""


class CurveNumberError(FloodInputError):
    """A curve number, soil group or cover that the tables do not know."""


class RegionalEquationError(FloodInputError):
    """A regional equation, its file or its variables that do not fit."""


class BankfullError(FloodInputError):
    """A bankfull curve or an area it cannot be used for."""
