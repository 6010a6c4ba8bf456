"""Files that are being edited: their text, their saving, and what is left of them after a crash.

No screen is needed for any of it, so every way of losing work can be played in a test.
"""
