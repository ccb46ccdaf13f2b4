"""Errors of reading and writing output files, each one clear line."""

from __future__ import annotations

from terrain.values.errors import GullywalkError


class OutputError(GullywalkError, OSError):
    """An output file that cannot be written, or a plan that cannot be read."""

    def __init__(self, found: str, *, expected: str = "", do: str = "") -> None:
        super().__init__(found, expected=expected, do=do)
        # OSError reads its arguments as a number, a text and a file name; ours are none of these.
        self.errno = self.strerror = self.filename = None


class LayerError(GullywalkError, ValueError):
    """A layer whose columns or geometries do not keep to the field table."""
