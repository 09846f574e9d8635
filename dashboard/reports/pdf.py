"""From a report's HTML to a PDF by the browser of the machine, which must stand on it."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import tempfile
from datetime import datetime
from pathlib import Path

BROWSERS = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "microsoft-edge",
    "msedge",
)
PLACES = (
    r"C:\Program Files (x86)\Microsoft\Edge\Application\msedge.exe",
    r"C:\Program Files\Google\Chrome\Application\chrome.exe",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
)
PATIENCE_S = 180.0


class NoPdf(Exception):  # noqa: N818 - reads as what it is
    """The PDF could not be made; the text says why and what to do."""


def browser() -> str | None:
    """A Chromium-family browser of this machine; ``TENTHWISE_BROWSER`` names another."""
    named = os.environ.get("TENTHWISE_BROWSER")
    found = (shutil.which(name) for name in BROWSERS)
    there = (place for place in PLACES if Path(place).exists())
    return named or next(filter(None, found), None) or next(there, None)


def as_pdf(html: str, stamp: datetime) -> bytes:
    """Print a report.

    Parameters
    ----------
    html : str
        One file that needs nothing else; nothing is fetched from anywhere.
    stamp : datetime
        Written into the file as its date, in place of the clock's, so that the same report gives the same bytes.

    Returns
    -------
    bytes

    Raises
    ------
    NoPdf
        No browser is found, or it fails.
    """
    program = browser()
    if program is None:
        raise NoPdf(
            "No PDF: this machine has no Chromium-family browser (Chromium, Chrome or Edge). Install one, name it in "
            "TENTHWISE_BROWSER, or print the HTML file from any browser."
        )
    with tempfile.TemporaryDirectory(prefix="tenthwise-") as place:
        source, target = Path(place) / "report.html", Path(place) / "report.pdf"
        source.write_text(html, encoding="utf-8")
        command = [
            program,
            "--headless",
            "--disable-gpu",
            "--no-first-run",
            f"--user-data-dir={Path(place) / 'profile'}",
            "--no-pdf-header-footer",
            "--virtual-time-budget=20000",
            "--host-resolver-rules=MAP * ~NOTFOUND",
            f"--print-to-pdf={target}",
            source.as_uri(),
        ]
        if hasattr(os, "geteuid") and os.geteuid() == 0:
            command.insert(1, "--no-sandbox")
        try:
            done = subprocess.run(command, capture_output=True, timeout=PATIENCE_S, check=False)
        except OSError as error:
            raise NoPdf(f"No PDF: {program} cannot be started ({error.strerror or error}).") from None
        except subprocess.TimeoutExpired:
            raise NoPdf(f"No PDF: {program} did not answer within {PATIENCE_S:.0f} s. Try again.") from None
        if not target.exists():
            said = done.stderr.decode("utf-8", "replace").strip().splitlines()
            raise NoPdf(f"No PDF: {program} ended without one ({said[-1] if said else 'it said nothing'}).")
        return _stamped(target.read_bytes(), stamp)


def _stamped(data: bytes, stamp: datetime) -> bytes:
    """The file with another date in it; the length of every entry stays, so that its table of contents holds."""
    text = stamp.strftime("%Y%m%d%H%M%S").encode()
    return re.sub(
        rb"(/(?:CreationDate|ModDate) \(D:)\d{14}([^)]*\))", lambda m: m.group(1) + text + m.group(2), data
    )
