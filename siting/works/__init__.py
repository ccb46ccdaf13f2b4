"""What is worth doing first: rank, quantities, costs, and what a budget buys."""
