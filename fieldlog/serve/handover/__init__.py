"""Bundles that bays hand over to this shop."""
