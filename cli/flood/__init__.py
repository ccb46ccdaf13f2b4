"""The floods of one place, as text and as JSON."""
