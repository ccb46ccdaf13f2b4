"""What structures do on the ground: pools, sediment, what they save."""
