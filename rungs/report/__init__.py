"""Findings and results as text and JSON."""
