"""The file from which a handed-over panel comes back: its exact text, its board, its table, and the
list of what was handed over when.

The text is kept whole and its digest beside it, so that a restored panel is the panel of the papers
or is refused.
"""

from __future__ import annotations

from hashlib import sha256
from typing import Annotated, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from rungs.table.model import TableFile

LARGEST: Final = 64_000_000  # bytes of a restore file
Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Line = Annotated[str, Field(max_length=2_000)]
Told = Annotated[str, Field(max_length=20_000)]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Revision(_Part):
    """One handover: its number from 1, its local date and time, the digest of the panel's text, and
    what had changed since the one before: statement by statement, and output by output."""

    number: int = Field(ge=1)
    at: Line
    sha256: Digest
    changes: tuple[Told, ...] = ()
    effects: tuple[Told, ...] = ()


class BoardText(_Part):
    """The board file that the table was made for, as its name and whole text."""

    name: Line
    text: Annotated[str, Field(max_length=70_000)]


class Restore(_Part):
    """Everything that brings a panel back. `text` is the file byte for byte, as UTF-8."""

    schema_version: Literal[1] = 1
    document: Literal["restore"] = "restore"
    tool: Line = ""
    file: Line
    sha256: Digest
    text: str
    board: BoardText | None = None
    sun_by: Literal["month", "week"] | None = None  # fixed times in place of the sun, of `year`
    year: int = Field(default=2026, ge=1970, le=2199)
    table: TableFile | None = None
    revisions: tuple[Revision, ...] = ()


class RestoreError(Exception):
    """A file that restores nothing; the message says why and what to do, in plain words."""


def digest_of(data: bytes) -> str:
    """The sha256 of a file, in hexadecimal digits."""
    return sha256(data).hexdigest()


def restore_json(restore: Restore) -> bytes:
    """The file, the same for the same restore."""
    return (restore.model_dump_json(indent=2) + "\n").encode("utf-8")


def read_restore(data: bytes, name: str) -> Restore:
    """A restore file, read and checked against its own digest. Raises RestoreError."""
    try:
        restore = Restore.model_validate_json(data.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise RestoreError(f"'{name}' is no restore file: it is not UTF-8 text") from error
    except ValidationError as error:
        raise RestoreError(f"'{name}' is no restore file: {_first_of(error)}") from error
    if digest_of(panel_bytes(restore)) != restore.sha256:
        raise RestoreError(
            f"'{name}' is damaged: the panel in it does not have the digest that it names; "
            "take another copy of the pack"
        )
    return restore


def _first_of(error: ValidationError) -> str:
    """The first thing that is wrong with a file, in plain words."""
    first = error.errors()[0]
    place = ".".join(str(part) for part in first["loc"])[:60]
    match first["type"]:
        case "json_invalid":
            return "it is no JSON"
        case "missing":
            return f"it has no '{place}'"
        case "extra_forbidden":
            return f"it has '{place}', which this version does not know"
        case _:
            return f"'{place}' cannot be what it is ({first['msg']})"


def panel_bytes(restore: Restore) -> bytes:
    """The panel's file, byte for byte."""
    return restore.text.encode("utf-8")
