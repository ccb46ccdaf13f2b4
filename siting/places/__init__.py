"""What is known at a place: its floods and all other measures."""
