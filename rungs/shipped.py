"""Finds the folders that travel with the package: `grammar` and `demos`.

They stand at the top of the checkout for the reader's sake, and inside the package once installed.
"""

from __future__ import annotations

from pathlib import Path


def shipped(folder: str) -> Path:
    """The path of a shipped folder. Raises FileNotFoundError if the installation is broken."""
    here = Path(__file__).resolve().parent
    for place in (here / folder, here.parent / folder):
        if place.is_dir():
            return place
    raise FileNotFoundError(f"the folder '{folder}' is missing from this installation of rungs")
