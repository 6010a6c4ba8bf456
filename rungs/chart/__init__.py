"""Timing charts of a run: as data, and as text rows, CSV, SVG and VCD made from it."""
