"""What is cut into the ground? How far it lies below the ground beside it, where that ends."""
