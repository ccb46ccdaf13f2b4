"""A plan as a file: its fields and layers, written whole, and read back."""
