"""What other packages add: recognisers, limit packs, forms of the report, found by entry points."""
