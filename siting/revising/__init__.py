"""The way back: what was measured on site goes into a plan, and everything downstream with it."""
