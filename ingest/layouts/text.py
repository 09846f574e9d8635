"""From bytes to lines of text, without losing or inventing a character.

A line ends with CR LF, LF or CR, whichever comes; nothing else ends a line. Counting is the same here and for
a person who counts line ends in the raw bytes.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Sequence
from dataclasses import dataclass

from ingest.layouts.lines import MANY_BYTES, Lines
from ingest.problems import Complaint

_SIGNATURES = (
    (b"PK\x03\x04", "a spreadsheet workbook or zip archive"),
    (b"\x1f\x8b", "a gzip-compressed file"),
    (b"%PDF", "a PDF document"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet workbook"),
    (b"7z\xbc\xaf", "a 7z archive"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"BZh", "a bzip2-compressed file"),
    (b"\xfd7zXZ", "an xz-compressed file"),
)
_EXPORT = "Export it from the gauge or spreadsheet as CSV text and drop that file."
_UNPRINTABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
LINE_LIMIT = 65_536
"""Characters a line may have."""
ODD = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u200b-\u200f\u202a-\u202e\u2060\ufeff\ufffd]")
"""Characters that no reading contains and that people cannot see."""
PRINTABLE = bytes(b for b in range(128) if not _UNPRINTABLE.match(chr(b)))
_LEAST_ODD = 16  # this many control characters at least before a text is called binary


@dataclass(frozen=True)
class Text:
    """A decoded file.

    Attributes
    ----------
    lines : sequence of str
        Without their ends.
    ended : bool
        Whether the last line has a line end.
    warnings : tuple of str
        Kinds.
    """

    lines: Sequence[str]
    encoding: str
    ended: bool
    warnings: tuple[str, ...]


def read_text(data: bytes) -> Text | Complaint:
    """Decode a file: byte order mark, else strict UTF-8, else cp1252.

    Returns
    -------
    text : Text or Complaint
        A complaint (``empty_file``, ``not_text``, ``encoding_undecidable``) when no text can be made of it.
    """
    if not data.strip(b"\x00\r\n\t ,;"):
        remedy = "Nothing is lost; if there should be readings, export the file again."
        return Complaint("empty_file", "the file holds nothing.", remedy)
    for start, what in _SIGNATURES:
        if data.startswith(start):
            return Complaint("not_text", f"this is {what}, not text.", _EXPORT)
    if len(data) >= MANY_BYTES and data.isascii() and not data.translate(None, PRINTABLE):
        plain = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n") if b"\r" in data else data
        lines = Lines(plain)
        return Text(lines, "utf-8", lines.ended, ())
    decoded = _decode(data)
    if isinstance(decoded, Complaint):
        return decoded
    text, encoding, warnings = decoded
    printable = text.isascii() and not text.encode().translate(None, PRINTABLE)
    odd = 0 if printable else len(_UNPRINTABLE.findall(text.strip("\x00")))
    if odd > _LEAST_ODD and odd > len(text) / 20:
        return Complaint("not_text", f"{odd} of {len(text)} characters are not printable: no text.", _EXPORT)
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    lines = text.split("\n")
    ended = lines[-1] == ""
    if ended:
        lines.pop()
    return Text(lines, encoding, ended, warnings)


def _decode(data: bytes) -> tuple[str, str, tuple[str, ...]] | Complaint:
    for mark, encoding in ((codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be")):
        if data.startswith(mark):
            return _utf16(data[2:], encoding, ())
    if data.startswith(codecs.BOM_UTF8):
        data = data[3:]
    try:
        return data.decode("utf-8"), "utf-8", ()
    except UnicodeDecodeError as error:
        where = error.start
    bare = _utf16_without_mark(data)
    if bare is not None:
        return _utf16(data, bare, ("encoding_guessed",))
    try:
        return data.decode("cp1252"), "cp1252", ("encoding_guessed",)
    except UnicodeDecodeError:
        line = data.count(b"\n", 0, where) + 1
        reason = f"the text is neither UTF-8 nor cp1252; the first odd byte is in line {line}."
        return Complaint("encoding_undecidable", reason, "Export the file again as UTF-8.")


def _utf16(
    data: bytes, encoding: str, warnings: tuple[str, ...]
) -> tuple[str, str, tuple[str, ...]] | Complaint:
    odd = len(data) % 2 == 1
    try:
        text = data[: len(data) - odd].decode(encoding)
    except UnicodeDecodeError:
        reason = "the file begins like UTF-16 text but is damaged."
        return Complaint("encoding_undecidable", reason, "Export the file again as UTF-8.")
    # half a character left over: the file was cut; the mark makes the last cell unreadable, not shorter
    return (text + "\ufffd" if odd else text), encoding, warnings


def _utf16_without_mark(data: bytes) -> str | None:
    """UTF-16 of mostly Latin text has a zero in every second byte."""
    sample = data[:4096]
    half = len(sample) / 2
    if sample[1::2].count(0) > 0.6 * half:
        return "utf-16-le"
    return "utf-16-be" if sample[0::2].count(0) > 0.6 * half else None
