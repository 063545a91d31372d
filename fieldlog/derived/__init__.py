"""Values that are computed from what was measured: pure, typed, exact where the inputs are."""
