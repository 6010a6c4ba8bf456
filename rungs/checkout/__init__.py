"""Checking a finished panel: what to operate, what to see, and what was found."""
