"""Errors a user can act on: each says what was found, what was expected and what to do."""

from __future__ import annotations

from enum import StrEnum


class Remedy(StrEnum):
    """What helps, in the library's own words; whoever calls it may say the same in others.

    The command has words for the members of this project's own remedies that name its options.
    """


class GullywalkError(Exception):
    """Root of every error this project raises on purpose.

    Parameters
    ----------
    found
        What was found, as one plain clause that names the file, option or value.
    expected
        What would have been right.
    do
        What the person can do about it: a remedy, or any plain clause.
    """

    def __init__(self, found: str, *, expected: str = "", do: str = "") -> None:
        self.found = found
        self.expected = expected
        self.do = do
        super().__init__(found, expected, do)

    def __str__(self) -> str:
        parts = [self.found.rstrip(".")]
        if self.expected:
            parts.append(f"expected {self.expected.rstrip('.')}")
        text = "; ".join(parts) + "."
        if self.do:
            do = self.do.rstrip(".")
            text += f" {do[0].upper()}{do[1:]}."
        return text


class RasterReadError(GullywalkError, ValueError):
    """A file that cannot be read as an elevation raster."""


class CrsError(GullywalkError, ValueError):
    """A missing, unusable or contradictory coordinate reference system."""


class VerticalUnitError(GullywalkError, ValueError):
    """Elevations whose unit is not known or not believable."""


class GridMismatchError(GullywalkError, ValueError):
    """Rasters that should share one grid and do not."""


class BoundaryError(GullywalkError, ValueError):
    """A ranch boundary that cannot be used."""


class MemoryNeedError(GullywalkError, MemoryError):
    """A run that needs more memory than the machine has free."""


class ParameterError(GullywalkError, ValueError):
    """A parameter outside its range or of the wrong kind."""


class EngineError(GullywalkError, RuntimeError):
    """A flow engine that is unknown, missing or that failed."""


class OutputError(GullywalkError, OSError):
    """An output file that cannot be written, or must not be replaced."""
