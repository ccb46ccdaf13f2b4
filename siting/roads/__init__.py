"""Roads, what else is kept clear of, and rolling dips along roads."""
