"""Proofs: properties, ready questions and explanations, over the core and exact about time."""
