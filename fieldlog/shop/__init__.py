"""The service that every face drives: one workshop, its inspections, and what happens in them."""
