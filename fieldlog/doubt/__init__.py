"""How sure an answer of a recogniser is: accepted, asked about or refused (pure)."""
