"""The page as PDF, by whatever on this machine can print one: a browser, or a library.

Neither is needed to hand a panel over: the page itself is ready to print.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Final

# general-purpose browsers that print without a window; all take the same options
_BROWSERS: Final = ("chromium", "chromium-browser", "google-chrome", "chrome", "msedge")
_SECONDS: Final = 240

HINT: Final = (
    "no PDF was written: install it with  pip install 'rungs-logic[pdf]'  (it needs the Pango "
    "library), or install Chromium; or open the page in any browser and print it"
)


class PdfError(Exception):
    """No PDF could be made; the message says why and what to do."""


def page_pdf(html: str) -> bytes:
    """The page as PDF. Raises PdfError where nothing on this machine can make one."""
    reasons = []
    for make in (_by_browser, _by_library):  # the library takes ten times as long
        try:
            data = make(html)
        except PdfError as error:
            reasons.append(str(error))
            continue
        if data.startswith(b"%PDF-"):
            return data
        reasons.append("what came out is no PDF")
    raise PdfError(f"{HINT} ({'; '.join(reasons)})")


def _by_library(html: str) -> bytes:
    try:
        # large, rarely needed, and absent from most machines
        from weasyprint import HTML
    except (ImportError, OSError) as error:
        reason = "is not installed" if isinstance(error, ImportError) else "cannot find Pango"
        raise PdfError(f"weasyprint {reason}") from error
    refuse: Callable[..., object] = _refused
    data: bytes = HTML(string=html, url_fetcher=refuse).write_pdf()
    return data


def _refused(url: str, *args: object, **options: object) -> object:
    """A page of ours refers to nothing, so nothing is ever fetched."""
    raise ValueError(f"nothing is fetched, and so not {url}")


def _by_browser(html: str) -> bytes:
    browser = next((found for name in _BROWSERS if (found := shutil.which(name))), None)
    if browser is None:
        raise PdfError("no browser was found")
    with tempfile.TemporaryDirectory(prefix="rungs-", ignore_cleanup_errors=True) as folder:
        page, out = Path(folder) / "page.html", Path(folder) / "page.pdf"
        page.write_text(html, encoding="utf-8")
        command = [
            *(browser, "--headless", "--disable-gpu", "--no-pdf-header-footer"),
            *("--disable-background-networking", f"--user-data-dir={Path(folder) / 'profile'}"),
            *(_sandbox(), f"--print-to-pdf={out}", page.as_uri()),
        ]
        try:
            subprocess.run(
                [word for word in command if word],
                stdin=subprocess.DEVNULL,
                capture_output=True,
                timeout=_SECONDS,
                check=True,
            )
            return out.read_bytes()
        except (OSError, subprocess.SubprocessError) as error:
            raise PdfError(f"{Path(browser).name} printed nothing") from error


def _sandbox() -> str:
    """A browser that runs as root, as in a container, starts only without its sandbox; the page
    has no script and loads nothing."""
    if sys.platform == "win32":
        return ""
    # this function is not there on every system
    from os import geteuid

    return "--no-sandbox" if geteuid() == 0 else ""
