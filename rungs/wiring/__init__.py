"""Terminals, wires and parts of a panel, worked out from its program."""
