"""Campaigns against the record: tampering, merging in random orders, hostile input."""
