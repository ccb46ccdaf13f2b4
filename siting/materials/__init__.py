"""Stone and wood: what holds, what people lift, what floats."""
