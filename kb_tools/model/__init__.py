"""What a library says: entities, the graph over them, and what is surely isolated where."""
