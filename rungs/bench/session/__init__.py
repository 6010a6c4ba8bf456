"""A panel on the bench without a screen: its program, its run, and the person's hands on it."""
