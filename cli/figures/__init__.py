"""Pictures: the map of a ranch, drawn without a screen and the same byte for byte."""

from cli.figures.ranch_map import ranch_map

__all__ = ["ranch_map"]
