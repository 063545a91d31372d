"""What others can check without us: Merkle trees, signed notes, keys of people."""
