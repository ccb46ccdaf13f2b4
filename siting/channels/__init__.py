"""What the ground tells of a channel: beds, sections, banks, bankfull, settings."""
