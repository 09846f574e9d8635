"""Reports as files: what kinds there are, the links to them, and the answers that carry them."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from flask import Response, abort
from markupsafe import Markup

from dashboard.markup import tag
from dashboard.reports.blocks import Report, on_paper
from dashboard.reports.pdf import NoPdf, as_pdf

KINDS = {
    "html": "text/html; charset=utf-8",
    "pdf": "application/pdf",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "csv": "text/csv; charset=utf-8",
}
PRINTED = ("pdf", "html")
"""Kinds that `printed` makes of any report."""


def file_links(address: str, name: str, kinds: Iterable[str], query: str = "") -> Markup:
    """Links to the files of a report, beside one another.

    Parameters
    ----------
    address : str
        Of the files without what follows the dot.
    name : str
        What a browser saves them under, without what follows the dot.
    kinds : iterable of str
    query : str
        Encoded, without its question mark.
    """
    asked = f"?{query}" if query else ""
    return Markup(" · ").join(
        tag("a", kind.upper(), href=f"{address}.{kind}{asked}", download=f"{name}.{kind}") for kind in kinds
    )


def printed(report: Report, kind: str, stamp: datetime) -> bytes | str:
    """The report as a page for paper, or as PDF; ends the answer with the reason where no PDF can be made."""
    text = on_paper(report)
    if kind == "html":
        return text
    try:
        return as_pdf(text, stamp)
    except NoPdf as error:
        abort(Response(str(error), status=503, mimetype="text/plain"))


def as_file(data: bytes | str, kind: str, name: str) -> Response:
    """An answer that a browser saves under this name, without what follows the dot."""
    answer = Response(data, content_type=KINDS[kind])
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}.{kind}"'
    return answer
