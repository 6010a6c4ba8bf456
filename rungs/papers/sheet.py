"""Tables as CSV for a spreadsheet.

Every cell is quoted and kept from being run as a formula, because a label holds what somebody else
wrote.
"""

from __future__ import annotations

import csv
import io
import re
from typing import Final

from rungs.cells import safe
from rungs.papers.blocks import Table

# what a spreadsheet takes for a formula, in either width (OWASP, CSV injection); an apostrophe too,
# so that taking one off again always gives the text
_GUARDED: Final = tuple("=+-@\uff1d\uff0b\uff0d\uff20'")
_NUMBER: Final = re.compile(r"[-+]?[0-9]+(\.[0-9]+)?")


def guarded(text: str) -> str:
    """Text for one cell, on one line; behind an apostrophe if it could be a formula."""
    shown = safe(text)
    return f"'{shown}" if shown.lstrip().startswith(_GUARDED) else shown


def table_csv(table: Table) -> str:
    """The columns and then the rows (RFC 4180, but lines end with a line feed)."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n", quoting=csv.QUOTE_ALL)
    writer.writerow([guarded(name) for name in table.columns])
    writer.writerows([_cell(cell) for cell in row] for row in table.rows)
    return out.getvalue()


def _cell(text: str) -> str:
    """A number is one with a sign, too."""
    return text if _NUMBER.fullmatch(text) else guarded(text)
