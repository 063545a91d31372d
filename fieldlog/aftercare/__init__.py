"""After the verdict: what to do and buy, what is still open, what comes due, and the conclusion."""
