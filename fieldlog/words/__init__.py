"""How a thing reads: printed, said, asked (pure). The only home of sentences besides the faces."""
