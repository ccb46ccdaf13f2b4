"""What the work takes: materials, days, money, and what a budget buys."""
