"""Going through what was heard: what needs a decision, in which order, and what may still be wrong (pure)."""
