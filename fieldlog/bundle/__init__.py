"""Bundles: one file with a whole inspection or vehicle that anybody can check and merge."""
