"""Exit codes, which are part of the interface, and the error that carries one out of a verb."""

from __future__ import annotations

FINE = 0
FINDINGS = 1
WRONG_CALL = 2
IO_FAILED = 3
INTERRUPTED = 130


class CliError(Exception):
    """Ends a command with one line on standard error and an exit code."""

    def __init__(self, message: str, code: int = WRONG_CALL) -> None:
        super().__init__(message)
        self.code = code
