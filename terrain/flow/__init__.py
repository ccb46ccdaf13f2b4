"""Where water goes: a surface that drains, and the direction of every cell."""
