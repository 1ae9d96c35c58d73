"""Ways to carry a built edition without a network."""
