"""Channels and what is read along them: reaches, drainage areas, profiles, sections."""
