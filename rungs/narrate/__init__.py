"""The sequence of operation, worked out from the logic."""
