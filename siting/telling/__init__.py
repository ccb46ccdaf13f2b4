"""What a plan says: tables, reasons, notes, shapes to scale."""
