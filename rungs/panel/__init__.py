"""Sums of a panel: loads, voltage drops, contacts, fuses."""
