"""What people draw: boundaries, lines and shapes, and coded polygons, read from vector files."""
