"""Processing steps that can be run alone, each declared with inputs, settings and results."""
