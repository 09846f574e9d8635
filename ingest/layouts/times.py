"""Time columns of a table: declared forms, the shop's zone, the hour that comes twice, impossible times."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from ingest.layouts.table import Coded, Faults, Ints, Mask, Table, Uncoded, combine
from ingest.plans.model import Column, Plan
from ingest.plans.time_forms import Form, compile_form, to_utc
from ingest.problems import Complaint

NO_TIME = int(np.iinfo(np.int64).min)
"""Stands for a time that is not there. [microseconds since 1970 UTC]"""

_EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001 - zone-less UTC throughout
_DAY = 86_400_000_000
_CLOCK = "Check the clock of the gauge or PC, correct the time and send the row again."
_WIDTHS = {"Y": 4, "m": 2, "d": 2, "H": 2, "M": 2, "S": 2}


def microseconds(moment: datetime) -> int:
    """Microseconds since 1970 of a zone-less UTC time."""
    return (moment - _EPOCH) // timedelta(microseconds=1)


def read_times(table: Table, plan: Plan, columns: Sequence[Column], faults: Faults, required: bool) -> Ints:
    """UTC of a time column, or of a date and a clock column together.

    Parameters
    ----------
    columns : sequence of Column
        One column, or date and clock.
    faults : Faults
        Complaints go here: ``bad_timestamp``, ``ambiguous_timestamp``, ``time_nonexistent``,
        ``time_implausible``, ``time_in_future``.
    required : bool
        Whether an empty cell is a fault.

    Returns
    -------
    us : int array, shape (n,)
        Microseconds since 1970 UTC; `NO_TIME` where empty or at fault.
    """
    n = len(table)
    if n == 0:
        return np.zeros(0, dtype=np.int64)
    at_once = _read_column(table, columns)
    if at_once is not None:
        us = _to_utc_rows(table, plan.zone, at_once, np.zeros(n, dtype=bool), faults)
        _judge(table, plan, us, faults)
        return np.where(faults.any, NO_TIME, us)
    coded, forms = _joined(table, columns)
    values = _read_forms(forms, coded.texts)
    unread = (values == NO_TIME).all(axis=0)
    if unread.any():
        faults.against(coded.codes, _unreadable(coded.texts, unread, forms, required))
    form = np.argmax(values != NO_TIME, axis=0)[coded.codes]
    spread = values.max(axis=0) != np.where(values == NO_TIME, np.iinfo(np.int64).max, values).min(axis=0)
    doubtful = (spread & ((values != NO_TIME).sum(axis=0) > 1))[coded.codes]
    if doubtful.any():
        _settle_by_file(table, coded, values, doubtful, form, faults)
    local = values[form, coded.codes]
    clocked = np.array([f.has_clock for f in forms])[form]
    table.note("time_date_only", (local != NO_TIME) & ~clocked)
    zoned = np.array(["z" in f.parts for f in forms])[form]
    us = _to_utc_rows(table, plan.zone, local, zoned, faults)
    _judge(table, plan, us, faults)
    return np.where(faults.any, NO_TIME, us)


def _joined(table: Table, columns: Sequence[Column]) -> tuple[Coded, list[Form]]:
    """One coded text for each row, and the forms it may have (date form and clock form joined by a blank)."""
    parts = [table.texts[c.name] for c in columns]
    if len(columns) == 1:
        return Coded(parts[0].codes, _tidy(parts[0].texts)), [compile_form(f) for f in columns[0].form]
    codes, combinations = combine(parts)
    texts = [
        " ".join(part.texts[c].strip() for part, c in zip(parts, combination, strict=True)).strip()
        for combination in combinations
    ]
    forms = [compile_form(f"{day} {clock}") for day in columns[0].form for clock in columns[1].form]
    return Coded(codes, texts), forms


def _read_column(table: Table, columns: Sequence[Column]) -> Ints | None:
    """Local times of a column whose texts hardly repeat, all of them in its first form and surely in no other.

    None where that is not so.
    """
    coded = table.texts[columns[0].name]
    forms = [compile_form(form) for form in columns[0].form]
    width = _fixed_width(forms[0]) if forms else 0
    if len(columns) > 1 or not isinstance(coded, Uncoded) or not width or not forms[0].has_clock:
        return None
    if any(form.could_read(forms[0]) for form in forms[1:]):
        return None
    offsets = np.frombuffer(coded.cells.buffers()[1], dtype=np.int32)
    offsets = offsets[coded.cells.offset : coded.cells.offset + len(coded.cells) + 1]
    if (np.diff(offsets) != width).any():
        return None
    letters = np.frombuffer(coded.cells.buffers()[2], dtype=np.uint8)[offsets[0] : offsets[-1]]
    letters = letters.reshape(-1, width)
    if letters.max() > 127:
        return None
    pieces = [_read_letters(forms[0], letters[at : at + _CHUNK]) for at in range(0, len(letters), _CHUNK)]
    found = np.concatenate(pieces)
    return None if (found == NO_TIME).any() else found


_CHUNK = 1 << 15
_BLANKS = "\t\v\f\r\x1c\x1d\x1e\x1f"
"""What ASCII has of blanks beside space and line end."""


def _tidy(texts: list[str]) -> list[str]:
    """Texts with single blanks between words and none around them."""
    one = "\n".join(texts)
    tidy = (
        one.isascii()
        and one.count("\n") < len(texts)  # no cell over several lines
        and not one.startswith(" ")
        and not one.endswith(" ")
        and not any(run in one for run in ("  ", " \n", "\n ", *_BLANKS))
    )
    return texts if tidy else [" ".join(text.split()) for text in texts]


def _read_forms(forms: list[Form], texts: list[str]) -> Ints:
    """What each text means in each form, shape (forms, texts); `NO_TIME` where it is not of that form.

    A form is not tried on texts that were read in a form of quite another shape.
    """
    values = np.full((len(forms), len(texts)), NO_TIME, dtype=np.int64)
    for k, form in enumerate(forms):
        settled = np.zeros(len(texts), dtype=bool)
        for j in range(k):
            if not form.could_read(forms[j]):
                settled |= values[j] != NO_TIME
        left = np.flatnonzero(~settled)
        if len(left) == len(texts):
            values[k] = _read_form(form, texts)
        elif len(left):
            values[k, left] = _read_form(form, [texts[i] for i in left.tolist()])
    return values


def _read_form(form: Form, texts: list[str]) -> Ints:
    """Microseconds that each text means in a form, `NO_TIME` where it is not of that form."""
    width = _fixed_width(form)
    if width and len(texts) > 1 and all(len(text) == width for text in texts) and "".join(texts).isascii():
        return _read_fixed(form, texts, width)
    full = [i for i, text in enumerate(texts) if 0 < len(text) == width and text.isascii()]
    found = np.full(len(texts), NO_TIME, dtype=np.int64)
    if full:
        found[full] = _read_fixed(form, [texts[i] for i in full], width)
    for i in sorted(set(range(len(texts))).difference(full)):
        read = form.read(texts[i])
        if read is not None:
            offset = read.utcoffset() or timedelta(0)
            found[i] = microseconds(read.replace(tzinfo=None) - offset)
    return found


def _fixed_width(form: Form) -> int:
    """Width of a text in a form of digits only, leading zeros written; 0 for other forms."""
    if not form.parts <= _WIDTHS.keys() or "Y" not in form.parts:
        return 0
    return len(form.text) + sum(_WIDTHS[part] - 2 for part in form.parts)


def _read_fixed(form: Form, texts: list[str], width: int) -> Ints:
    """What `Form.read` gives, for ASCII texts that all have the full width of the form."""
    letters = np.frombuffer("".join(texts).encode("ascii"), dtype=np.uint8)
    return _read_letters(form, letters.reshape(len(texts), width))


def _read_letters(form: Form, given: NDArray[np.uint8]) -> Ints:
    """What `_read_fixed` gives, for the letters of the texts, shape (texts, width)."""
    letters = np.ascontiguousarray(given.T)
    n = len(given)
    good = np.ones(n, dtype=bool)
    places: list[tuple[str, int]] = []
    at = column = 0
    while at < len(form.text):
        if form.text[at] == "%":
            places.append((form.text[at + 1], column))
            column += _WIDTHS[form.text[at + 1]]
            at += 2
        else:
            good &= letters[column] == ord(form.text[at])
            column += 1
            at += 1
    got = {"H": np.zeros(n, np.int64)}
    got |= {"M": got["H"], "S": got["H"]}
    for part, column in places:
        number = np.zeros(n, dtype=np.int64)
        for digit in letters[column : column + _WIDTHS[part]] - np.uint8(ord("0")):  # below "0" wraps round
            good &= digit <= 9
            number = number * 10 + digit
        got[part] = number
    good &= (got["Y"] >= 1) & (got["m"] >= 1) & (got["m"] <= 12) & (got["d"] >= 1)
    good &= (got["H"] <= 23) & (got["M"] <= 59) & (got["S"] <= 59)
    safe = {part: np.where(good, values, 1) for part, values in got.items()}
    month = (safe["Y"] - 1970).astype("datetime64[Y]").astype("datetime64[M]") + (safe["m"] - 1)
    day = month.astype("datetime64[D]") + (safe["d"] - 1)
    good &= day.astype("datetime64[M]") == month  # 30 February rolled over
    seconds = (safe["H"] * 60 + safe["M"]) * 60 + safe["S"]
    return np.where(good, day.astype(np.int64) * _DAY + seconds * 1_000_000, NO_TIME)


def _unreadable(texts: list[str], bad: Mask, forms: list[Form], required: bool) -> list[Complaint | None]:
    declared = " or ".join(f.text for f in forms)
    answers: list[Complaint | None] = []
    for text, wrong in zip(texts, bad.tolist(), strict=True):
        if not wrong or (not text and not required):
            answers.append(None)
        elif not text:
            answers.append(Complaint("bad_timestamp", "the time is missing.", _CLOCK))
        else:
            shown = text if len(text) <= 40 else f"{text[:40]}..."
            reason = f"'{shown}' is not a time written as {declared}."
            answers.append(Complaint("bad_timestamp", reason, "Correct it, or the form in the layout."))
    return answers


def _settle_by_file(
    table: Table, coded: Coded, values: Ints, doubtful: Mask, form: Ints, faults: Faults
) -> None:
    """Texts that several forms read differently: the form that reads every time of the file is right."""
    settled = np.zeros(len(table), dtype=bool)
    unsettled = np.zeros(len(table), dtype=bool)
    for sheet in np.unique(table.sheet[doubtful]).tolist():
        rows = np.flatnonzero(table.sheet == sheet)
        read = values[:, coded.codes[rows]]
        readable = (read != NO_TIME).any(axis=0)
        whole = np.flatnonzero((read[:, readable] != NO_TIME).all(axis=1))
        mine = rows[doubtful[rows]]
        if len(whole) == 1:
            form[rows[readable]] = whole[0]
            settled[mine] = True
        else:
            unsettled[mine] = True
    table.note("date_order_inferred", settled)
    reason = "day and month can be told apart neither here nor elsewhere in the file."
    remedy = "Declare one form only in the layout."
    faults.where(unsettled, Complaint("ambiguous_timestamp", reason, remedy))


def _to_utc_rows(table: Table, zone: ZoneInfo, local: Ints, zoned: Mask, faults: Faults) -> Ints:
    """Shop time to UTC. Days on which the clocks change are looked at row by row."""
    us = local.copy()
    shop = (local != NO_TIME) & ~zoned
    day = np.where(shop, local, 0) // _DAY
    days, which = np.unique(day, return_inverse=True)
    offsets, steady = _offsets(days, zone)
    us[shop] -= offsets[which[shop]]
    turning = np.flatnonzero(shop & ~steady[which])
    if not len(turning):
        return us
    skipped = np.zeros(len(us), dtype=bool)
    second: dict[int, int] = {}
    for row in turning.tolist():
        instant = to_utc(_EPOCH + timedelta(microseconds=int(local[row])), zone)
        if instant is None:
            skipped[row] = True
            continue
        us[row] = microseconds(instant.first)
        if instant.twice:
            second[row] = microseconds(instant.second)
    reason = "the clocks were put forward that night; this time did not exist."
    faults.where(skipped, Complaint("time_nonexistent", reason, _CLOCK))
    if second:
        _settle_fold(table, local, us, second, faults)
    return us


def _offsets(days: Ints, zone: ZoneInfo) -> tuple[Ints, Mask]:
    """Offset of each local day, and whether it holds all day."""
    offsets = np.zeros(len(days), dtype=np.int64)
    steady = np.zeros(len(days), dtype=bool)
    for i, day in enumerate(days.tolist()):
        try:
            start = _EPOCH + timedelta(days=day)
            ends = [start, datetime.combine(start.date(), time.max)]
            found = {end.replace(tzinfo=zone, fold=fold).utcoffset() for end in ends for fold in (0, 1)}
        except OverflowError:
            continue
        offset = found.pop()
        if offset is not None:
            offsets[i] = offset // timedelta(microseconds=1)
            steady[i] = not found
    return offsets, steady


def _settle_fold(table: Table, local: Ints, us: Ints, second: dict[int, int], faults: Faults) -> None:
    """The hour that comes twice: where the file steps back in it, the second one begins."""
    rows = np.array(sorted(second), dtype=np.int64)
    settled = np.zeros(len(us), dtype=bool)
    unsettled = np.zeros(len(us), dtype=bool)
    for sheet in np.unique(table.sheet[rows]).tolist():
        mine = rows[table.sheet[rows] == sheet]
        back = np.flatnonzero(np.diff(local[mine]) < 0)
        if len(back) == 1:
            settled[mine] = True
            for row in mine[back[0] + 1 :].tolist():
                us[row] = second[row]
        else:
            unsettled[mine] = True
    table.note("time_ambiguous", settled)
    reason = (
        "the clocks were put back that night; this time came twice and the file does not say which it is."
    )
    faults.where(unsettled, Complaint("ambiguous_timestamp", reason, _CLOCK))


def _judge(table: Table, plan: Plan, us: Ints, faults: Faults) -> None:
    """Times that cannot be: before the shop kept records, or after the file was received."""
    given = us != NO_TIME
    known = np.array([s.known_us for s in table.sheets], dtype=np.int64)[table.sheet]
    tolerance = int(plan.shop.future_tolerance_min * 60_000_000)
    oldest = to_utc(datetime.combine(plan.shop.oldest_plausible, time.min), plan.zone)
    if oldest is not None:
        reason = f"the time lies before {plan.shop.oldest_plausible}, the oldest the plan believes."
        faults.where(given & (us < microseconds(oldest.first)), Complaint("time_implausible", reason, _CLOCK))
    reason = "the time lies after the moment the file was received."
    faults.where(given & (us > known + tolerance), Complaint("time_in_future", reason, _CLOCK))
