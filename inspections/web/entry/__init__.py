"""Forms: a visit's readings, work and events, answers to flags, trials, and people."""
