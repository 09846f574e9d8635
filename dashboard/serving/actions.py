"""The doors by which a page changes the shop: one address an action, told as JSON, answered as JSON."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from flask import Flask, request

from dashboard.desk import Desk
from dashboard.work import rows as row_work
from dashboard.work.rows import Mistake
from dashboard.work.shop_work import receipt_line
from ingest.intake.receipt import IncomingFile
from ingest.shop.shop import Shop, ShopError

Answer = tuple[dict[str, Any], int]
LONGEST = 1000
LONGEST_LINE = 65_536


def _text(form: Mapping[str, object], key: str, asked: str = "") -> str:
    value = str(form.get(key) or "").strip()
    if asked and not value:
        raise Mistake(f"{asked} is missing: fill it in and send it again.")
    if len(value) > LONGEST:
        raise Mistake(f"{key} is longer than {LONGEST} characters: shorten it.")
    return value


def _whole(form: Mapping[str, object], key: str) -> int:
    text = _text(form, key, key)
    if not (text.isascii() and text.isdecimal()):
        raise Mistake(f"{key} must be a whole number, not {text!r}.")
    return int(text)


def _who(form: Mapping[str, object], shop: Shop) -> str:
    return row_work.spoken_by(shop, _text(form, "who", "Who you are"))


def _when(form: Mapping[str, object], shop: Shop) -> datetime:
    text = _text(form, "when")
    if not text:
        return shop.now()
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        raise Mistake(f"{text!r} is not a date and time: write it as 2025-03-07T14:05.") from None
    return when.replace(tzinfo=shop.plan.zone) if when.tzinfo is None else when


def _part(form: Mapping[str, object]) -> tuple[str, int]:
    text = _text(form, "part", "The block")
    serial, slash, pass_no = text.rpartition("/")
    if not slash:
        return text, 1
    if not (pass_no.isascii() and pass_no.isdecimal()):
        raise Mistake(f"{text!r} is not a serial and a pass: choose one from the list.")
    return serial, int(pass_no)


def note_event(shop: Shop, form: Mapping[str, object]) -> dict[str, Any]:
    """Something was done to a machine or a gauge."""
    kind, target = _text(form, "kind", "What was done"), _text(form, "target", "The machine")
    line = shop.note_event(
        target,
        kind,
        _when(form, shop),
        _who(form, shop),
        tool=_text(form, "tool") or None,
        note=_text(form, "note"),
    )
    return {"said": f"Noted on {target}: {shop.plan.events[kind].name}.", "undo": line}


def undo(shop: Shop, form: Mapping[str, object]) -> dict[str, Any]:
    """Take a decision or an event back."""
    shop.undo(_whole(form, "line"), _who(form, shop), _text(form, "reason") or "undone at the screen")
    return {"said": "Undone. It stays in the log, struck through."}


def close_signal(shop: Shop, form: Mapping[str, object]) -> dict[str, Any]:
    """Say what a signal was."""
    line = shop.close_signal(
        _text(form, "process", "The process"),
        _text(form, "monitor", "The signal"),
        _text(form, "serial", "The block"),
        _whole(form, "pass_no"),
        _text(form, "outcome", "The outcome"),
        _text(form, "cause", "The cause"),
        _who(form, shop),
    )
    return {"said": "The signal is closed.", "undo": line}


def set_part_aside(shop: Shop, form: Mapping[str, object]) -> dict[str, Any]:
    """A part no longer counts."""
    serial, pass_no = _part(form)
    line = shop.set_part_aside(
        _text(form, "process") or None, serial, pass_no, _text(form, "reason", "The reason"), _who(form, shop)
    )
    return {"said": f"Block {serial} is set aside; it stays visible.", "undo": line}


def restore_part(shop: Shop, form: Mapping[str, object]) -> dict[str, Any]:
    """A part counts again."""
    serial, pass_no = _part(form)
    line = shop.restore_part(
        _text(form, "process") or None, serial, pass_no, _text(form, "reason", "The reason"), _who(form, shop)
    )
    return {"said": f"Block {serial} counts again.", "undo": line}


def _said(done: tuple[str, tuple[int, ...]]) -> dict[str, Any]:
    said, lines = done
    return {"said": said} | ({"undo": lines[0]} if len(lines) == 1 else {})


def _lines(form: Mapping[str, object]) -> list[int] | None:
    return [_whole(form, "line")] if _text(form, "line") else None


def judge_rows(shop: Shop, form: Mapping[str, object]) -> dict[str, Any]:
    """Rows of a file, or all of them, are used as they stand or rejected."""
    use = _text(form, "use", "Whether to use them")
    if use not in ("yes", "no"):
        raise Mistake(f"use must be yes or no, not {use!r}.")
    asked = {
        "receipt": _whole(form, "receipt"),
        "lines": _lines(form),
        "kind": _text(form, "kind") or None,
        "col": _text(form, "col") or None,
        "use": use == "yes",
        "everything": _text(form, "everything") == "yes",
        "reason": _text(form, "reason", "The reason"),
        "who": _who(form, shop),
    }
    return _said(row_work.judge(shop, asked))


def fix_row(shop: Shop, form: Mapping[str, object]) -> dict[str, Any]:
    """A line that could not be stored is written anew."""
    asked = {
        "receipt": _whole(form, "receipt"),
        "line": _whole(form, "line"),
        "text": str(form.get("text") or "")[:LONGEST_LINE],
        "reason": _text(form, "reason", "The reason"),
        "who": _who(form, shop),
    }
    return _said(row_work.fix(shop, asked))


def correct_rows(shop: Shop, form: Mapping[str, object]) -> dict[str, Any]:
    """What stored rows say is put right."""
    asked = {
        "receipt": _whole(form, "receipt"),
        "lines": _lines(form),
        "col": _text(form, "col") or None,
        "field": _text(form, "field", "What to correct"),
        "to": _text(form, "to"),
        "reason": _text(form, "reason", "The reason"),
        "who": _who(form, shop),
    }
    return _said(row_work.correct(shop, asked))


DOORS: dict[str, Callable[[Shop, Mapping[str, object]], dict[str, Any]]] = {
    "note_event": note_event,
    "undo": undo,
    "close_signal": close_signal,
    "set_part_aside": set_part_aside,
    "restore_part": restore_part,
    "judge_rows": judge_rows,
    "fix_row": fix_row,
    "correct_rows": correct_rows,
}


def register(server: Flask, desk: Desk) -> None:
    """Open the doors on the server; `dashboard.security` decides who may come in."""

    @server.post("/do/<act>")
    def do(act: str) -> Answer:
        if act not in DOORS:
            return {"wrong": f"There is no action {act!r}."}, 404
        form = request.get_json(silent=True)
        if not isinstance(form, dict):
            return {"wrong": "This must be sent as JSON."}, 415
        try:
            return desk.write(lambda shop: DOORS[act](shop, form)), 200
        except (Mistake, ShopError) as error:
            return {"wrong": str(error)}, 400

    @server.post("/do/take_in")
    def take_in() -> Answer:
        sent = [file for file in request.files.getlist("file") if file.filename]
        if not sent:
            return {"wrong": "No file came with it: choose or drop one."}, 400
        files = [IncomingFile(file.filename or "", file.stream.read()) for file in sent]
        receipts = desk.write(lambda shop: shop.take_in(files))
        return {"said": "\n".join(receipt_line(receipt) for receipt in receipts)}, 200
