"""`tenthwise month`, `service-case` and `part`: what they say, and the files they leave."""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dashboard.reports.blocks import Report, on_paper
from dashboard.reports.pdf import NoPdf, as_pdf
from dashboard.words.amounts import moment
from dashboard.work.shop_work import GOOD, MISUSE, Outcome

if TYPE_CHECKING:
    from ingest.answers.case import ServiceCase
    from ingest.answers.month import MonthReview
    from ingest.answers.processes import EventFact
    from ingest.shop.shop import Shop

Step = Callable[[int, int], None]
FORMATS = ("html", "pdf", "xlsx", "csv")


class Unasked(ValueError):  # noqa: N818 - reads as what it is
    """What was asked for does not exist; the text says what does."""


def read_month(text: str) -> tuple[int, int]:
    """Year and month of ``2025-10``.

    Raises
    ------
    Unasked
        It is no month.
    """
    try:
        day = date.fromisoformat(f"{text}-01")
    except ValueError:
        raise Unasked(f"{text!r} is not a month: write it as year-month, like 2031-12.") from None
    return day.year, day.month


def month_pieces(
    shop: Shop, year: int, month: int, step: Step | None = None, draw: Sequence[str] = ()
) -> tuple[MonthReview, Report]:
    """A month and its report; drawn are the processes named, else those that the things to act on are about."""
    from dashboard.reports.month_report import drawn_lines, month_report

    review = shop.month(year, month, step)
    lines = [line for line in review.lines if line.process in draw] if draw else drawn_lines(review)
    runs = [shop.month_run(line, year, month) for line in lines]
    return review, month_report(review, shop.plan, [run for run in runs if run is not None])


def month(shop: Shop, asked: Mapping[str, Any], step: Step | None = None) -> Outcome:
    """Review a month; files are written whole or not at all, after everything is made."""
    from dashboard.reports.month_words import act_text, change_text, line_name
    from dashboard.reports.workbook import as_csv, as_xlsx, sheets

    try:
        year, number = read_month(str(asked["month"]))
    except Unasked as error:
        return Outcome("", MISUSE, str(error))
    draw = [str(name) for name in asked.get("draw") or ()]
    review, report = month_pieces(shop, year, number, step, draw)
    unknown = sorted(set(draw) - {line.process for line in review.lines})
    if unknown:
        known = ", ".join(dict.fromkeys(line.process for line in review.lines))
        return Outcome(
            "", MISUSE, f"No such process in that month: {', '.join(unknown)}. There are: {known}."
        )
    if asked.get("json"):
        tables = {
            name: [dict(zip(head, row, strict=True)) for row in rows]
            for name, head, rows in sheets(review, shop.plan)
        }
        return Outcome(json.dumps(tables, ensure_ascii=False, default=str), GOOD)
    lines = [report.title]
    if not review.lines:
        lines.append("No block was measured in this month: there is nothing to review.")
    for i, act in enumerate(review.acts, 1):
        what, why = act_text(act, shop.plan)
        lines.append(f"{i}. {what}: {why}.")
    lines += [
        f"   {line_name(x)}: {change_text(x)}" for x in review.lines if x.direction in ("better", "worse")
    ]
    made: dict[str, Callable[[], bytes]] = {
        "html": lambda: on_paper(report).encode(),
        "pdf": lambda: as_pdf(on_paper(report), review.asked),
        "xlsx": lambda: as_xlsx(review, shop.plan),
        "csv": lambda: as_csv(review, shop.plan).encode(),
    }
    return _left(lines, asked, f"month-{year}-{number:02d}", made)


def find_event(shop: Shop, machine: str, when: date, as_of: date | None = None) -> EventFact:
    """The event of a machine on a day.

    Raises
    ------
    Unasked
        There was none, or more than one.
    """
    events = shop.machine_events(machine, as_of)
    mine = [e for e in events if e.time.date() == when]
    if mine:
        return mine[-1]
    near = sorted(events, key=lambda e: abs((e.time.date() - when).days))[:3]
    told = ", ".join(f"{e.time.date()} ({e.kind_name})" for e in near) or "none"
    raise Unasked(f"Nothing was done to {machine} on {when} that is known. Nearest: {told}.")


def check_case(shop: Shop, asked: Mapping[str, Any]) -> tuple[EventFact | None, date | None]:
    """The event and the day that a case is asked about.

    Raises
    ------
    Unasked
        There is no such machine or event.
    """
    machine, plan = str(asked["machine"]), shop.plan
    if machine not in plan.machines and machine not in plan.gauges:
        raise Unasked(f"There is no machine {machine!r}. Machines: {', '.join(plan.machines)}.")
    as_of = date.fromisoformat(asked["as_of"]) if asked.get("as_of") else None
    if as_of is not None and as_of > shop.now().date():
        raise Unasked(f"{as_of} has not been yet: a case is told from what is known.")
    if asked.get("event"):
        when = date.fromisoformat(asked["event"])
        if when > shop.now().date():
            raise Unasked(f"{when} has not been yet: leave the event away to see what a service would save.")
        return find_event(shop, machine, when, as_of), as_of
    if machine not in plan.machines:
        raise Unasked(
            f"{machine} is a gauge: a service case is about a machine. Machines: {', '.join(plan.machines)}."
        )
    return None, as_of


def case_of(shop: Shop, asked: Mapping[str, Any], step: Step | None = None) -> ServiceCase:
    """The service case asked for.

    Raises
    ------
    Unasked
        There is no such machine or event.
    """
    event, as_of = check_case(shop, asked)
    return shop.service_case(
        str(asked["machine"]), event, asked.get("price"), asked.get("hours"), as_of, step
    )


def service_case(shop: Shop, asked: Mapping[str, Any], step: Step | None = None) -> Outcome:
    """What something done to a machine did, or what a service would save."""
    from dashboard.reports.case_report import case_report
    from dashboard.reports.case_words import (
        chance_text,
        found_text,
        money_text,
        months_text,
        part_share,
        verdict_text,
    )

    try:
        case = case_of(shop, asked, step)
    except Unasked as error:
        return Outcome("", MISUSE, str(error))
    if asked.get("json"):
        return Outcome(json.dumps(case_record(case), ensure_ascii=False, default=str), GOOD)
    report = case_report(case, shop.plan)
    lines = [verdict_text(case)]
    lines += [f"   {e.feature_name}: {found_text(e)}" for e in case.effects if e.effect.found]
    for limit in case.limits:
        then = (
            f"; {'after' if case.event else 'when it last held'} {part_share(limit.then)}"
            if limit.then
            else ""
        )
        lines.append(f"   beyond a limit of {limit.feature_name}: {part_share(limit.now)}{then}")
    if case.money is not None:
        m = case.money
        lines.append(
            f"   saves {money_text(m.saving.p50)} a month ({money_text(m.saving.p10)} to {money_text(m.saving.p90)}), "
            f"paid in {months_text(m.payback.p50)} ({months_text(m.payback.p10)} to {months_text(m.payback.p90)}); "
            f"within 12 months with a chance of {chance_text(m.within_year)}"
        )
    elif case.no_money:
        lines.append(f"   {case.no_money}")
    made: dict[str, Callable[[], bytes]] = {
        "html": lambda: on_paper(report).encode(),
        "pdf": lambda: as_pdf(on_paper(report), case.asked),
    }
    day = case.event.time.date() if case.event is not None else case.asked.date()
    return _left(lines, asked, f"service-case-{case.machine}-{day}", made)


def case_record(case: ServiceCase) -> dict[str, Any]:
    """A case as plain values: verdict, shares with intervals, effects, money."""

    def share(told: Any) -> dict[str, Any] | None:
        if told is None or told.share is None:
            return None
        return {
            "from": told.first, "to": told.last, "out": told.out, "parts": told.parts,
            "share": told.share.estimate, "lower": told.share.lower, "upper": told.share.upper,
        }  # fmt: skip

    def finite(value: float) -> float | None:
        return value if abs(value) < float("inf") else None

    def ranged(told: Any) -> dict[str, float | None]:
        return {"p10": finite(told.p10), "p50": finite(told.p50), "p90": finite(told.p90)}

    money = case.money
    return {
        "machine": case.machine,
        "event": None if case.event is None else {"kind": case.event.kind, "time": case.event.time},
        "asked": case.asked,
        "verdict": case.verdict,
        "effects": [
            {
                "process": e.process,
                "found": e.effect.found,
                "level": None if e.effect.level is None else e.effect.level.difference.__dict__,
                "smallest_seen": None if e.effect.level is None else e.effect.level.smallest_seen,
                "spread_ratio": None if e.effect.spread is None else e.effect.spread.ratio.__dict__,
                "reason": e.effect.reason,
            }
            for e in case.effects
        ],
        "now": share(case.now),
        "then": share(case.then),
        "limits": [
            {"feature": x.feature_name, "now": share(x.now), "then": share(x.then)} for x in case.limits
        ],
        "parts_a_month": case.pace,
        "money": None
        if money is None
        else {
            "saving": ranged(money.saving),
            "payback_months": ranged(money.payback),
            "within_year": money.within_year,
            "price": money.price.total,
            "seed": money.seed,
            "draws": money.draws,
        },
        "no_money": case.no_money,
        "data": case.digest,
        "plan": case.plan_sha,
    }


def part(shop: Shop, asked: Mapping[str, Any]) -> Outcome:
    """The sheet of one block."""
    from dashboard.reports.part_report import part_lines

    serial = str(asked["serial"])
    view = shop.part(serial)
    if view is None or not (view.readings or view.passes):
        return Outcome(
            "", MISUSE, f"No block {serial} is known. Check the serial as it stands in the export."
        )
    report = part_sheet(shop, serial)
    made: dict[str, Callable[[], bytes]] = {
        "html": lambda: on_paper(report).encode(),
        "pdf": lambda: as_pdf(on_paper(report), shop.now()),
    }
    safe = "".join(c if c.isalnum() or c in "-_." else "_" for c in serial)
    return _left(part_lines(view, shop.plan), asked, f"block-{safe}", made)


def part_sheet(shop: Shop, serial: str) -> Report:
    """The sheet of one block for paper.

    Raises
    ------
    LookupError
        Nobody has heard of it.
    """
    from dashboard.reports.part_report import part_report

    view = shop.part(serial)
    if view is None:
        raise LookupError(serial)
    files = {r.id: r.name for r in shop.receipts()}
    aside = shop.rows_naming(serial)
    asked = f"Asked on {moment(shop.now())}. Plan {shop.plan.sha256}."
    return part_report(view, shop.plan, files, asked, aside)


def _left(
    lines: list[str], asked: Mapping[str, Any], name: str, made: Mapping[str, Callable[[], bytes]]
) -> Outcome:
    """Write the files wanted into the folder named; what cannot be made is said, the others are left."""
    if not asked.get("to"):
        return Outcome("\n".join(lines), GOOD)
    folder = Path(str(asked["to"]))
    wanted = [f for f in (asked.get("formats") or FORMATS) if f in made]
    wrong: list[str] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for kind in wanted:
            try:
                data = made[kind]()
            except NoPdf as error:
                wrong.append(str(error))
                continue
            _write(folder / f"{name}.{kind}", data)
            lines.append(f"Wrote {folder / f'{name}.{kind}'}")
    except OSError as error:
        return Outcome("\n".join(lines), MISUSE, f"{folder} cannot be written: {error.strerror or error}.")
    return Outcome("\n".join(lines), MISUSE if wrong else GOOD, " ".join(wrong))


def _write(target: Path, data: bytes) -> None:
    """The file whole, or the one that was there before."""
    handle, place = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        Path(place).chmod(0o644)
        Path(place).replace(target)
    except BaseException:
        Path(place).unlink(missing_ok=True)
        raise
