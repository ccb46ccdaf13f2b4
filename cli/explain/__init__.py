"""The reasoning about one site, as text and as JSON."""
