"""Peak flows at places of the ground: what flood methods need, all of them side by side."""
