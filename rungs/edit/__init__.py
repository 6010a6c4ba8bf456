"""Editing a panel file through its ladder: requests in, text edits out."""
