"""The voice that reads back, rendered once and kept as a pack in the package."""
