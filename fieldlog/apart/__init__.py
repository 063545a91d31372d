"""Work in a process of its own: a crash or a hang there costs one answer here."""
