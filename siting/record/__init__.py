"""What a plan remembers: tables, reasons, notes, and exact records of its sites."""
