"""`python -m rungs.cli` does what the command `rungs` does."""

from rungs.cli.main import run

run()
