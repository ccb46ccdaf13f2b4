"""Walking to the sites of a plan: least-effort ways over the ground, visiting order, loops."""
