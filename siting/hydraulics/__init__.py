"""Water in a channel: sections, normal flow, roughness, weirs, jumps."""
