"""The command ``gullywalk`` and everything it writes: the outermost of the three layers."""
