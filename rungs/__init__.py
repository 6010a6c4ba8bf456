"""rungs: a local-first logic editor for small low-voltage panels."""

__version__ = "0.1.0"
