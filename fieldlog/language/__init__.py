"""The inspection language: grammar files and catalogue made one, and what its phrases mean."""
