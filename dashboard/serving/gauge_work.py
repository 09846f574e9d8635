"""What the commands about gauges print, and the list of parts to measure again as a file."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping
from datetime import date
from typing import TYPE_CHECKING, Any

from dashboard.work.shop_work import GOOD, MISUSE, OPEN_SIGNAL, Outcome

if TYPE_CHECKING:
    from flask import Flask

    from dashboard.desk import Desk
    from ingest.answers.gauges import GaugeView, Suspect
    from ingest.shop.shop import Shop

COLUMNS = (
    "serial", "pass", "family", "measured", "machine", "operation", "feature", "operators", "places", "error_um",
    "error_low_um", "error_high_um", "second_gauge_um", "places_likely_beyond_a_limit", "off_since", "off_until",
)  # fmt: skip


def run(shop: Shop, asked: Mapping[str, Any]) -> Outcome:
    """Do what a command about gauges asks.

    Parameters
    ----------
    shop : Shop
    asked : mapping
        `act` (list | suspects); `as_of` (ISO day or None); for suspects `gauge` and `form` (text | csv | json).

    Returns
    -------
    Outcome
        Exit code 1 while a gauge (or the one asked for) is in doubt.
    """
    day = date.fromisoformat(asked["as_of"]) if asked.get("as_of") else None
    gauges = shop.gauges(day).gauges
    if asked["act"] == "list":
        code = OPEN_SIGNAL if any(g.doubt is not None for g in gauges) else GOOD
        if asked.get("json"):
            return Outcome(json.dumps([_record(g) for g in gauges], ensure_ascii=False, indent=1), code)
        return Outcome(_listed(shop, gauges), code)
    one = next((g for g in gauges if g.key == asked["gauge"]), None)
    if one is None:
        known = ", ".join(g.key for g in gauges) or "none"
        return Outcome("", MISUSE, f"There is no gauge {asked['gauge']}; the plan has: {known}.")
    code = OPEN_SIGNAL if one.doubt is not None else GOOD
    form = asked.get("form", "text")
    if form == "csv":
        return Outcome(suspects_csv(one).rstrip("\n"), code)
    if form == "json":
        rows = [_suspect(s, e.begun, e.until) for e in one.episodes for s in e.suspects]
        return Outcome(json.dumps(rows, ensure_ascii=False, indent=1), code)
    return Outcome(_suspects_text(shop, one), code)


def _listed(shop: Shop, gauges: tuple[GaugeView, ...]) -> str:
    from dashboard.words.gauges import due_text, gauge_text, standing

    today = shop.now().date()
    lines = []
    for gauge in gauges:
        lines.append(f"{gauge_text(gauge)}: {standing(gauge, shop.plan)}")
        if gauge.due is not None:
            lines.append(f"  {due_text(gauge, today)}")
    return "\n".join(lines) or "The plan names no gauge."


def _suspects_text(shop: Shop, gauge: GaugeView) -> str:
    from dashboard.words.amounts import count, moment
    from dashboard.words.gauges import blind_text, episode_text, gauge_text, likely_text, parts_of

    if not gauge.episodes:
        return f"{gauge_text(gauge)} was never found off: no block to measure again."
    lines = []
    for episode in gauge.episodes:
        lines.append(episode_text(episode, gauge, shop.plan))
        told = blind_text(episode)
        if told:
            lines.append(told)
        lines.append(f"{count(len(parts_of(episode)), 'block')} to measure again, most urgent first:")
        for s in episode.suspects:
            far = (
                likely_text(s.error, s.display, s.decimals)
                if s.error is not None
                else "off by an unknown amount"
            )
            beyond = f", {count(s.beyond, 'place')} likely beyond a limit" if s.beyond else ""
            lines.append(
                f"  {s.serial}  {moment(s.when)}  {s.machine}  {s.feature_name}  likely {far}{beyond}"
            )
    return "\n".join(lines)


def suspects_csv(gauge: GaugeView) -> str:
    """Parts to measure again as CSV, errors in micrometres, the newest time off first."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for episode in gauge.episodes:
        for suspect in episode.suspects:
            record = _suspect(suspect, episode.begun, episode.until)
            record["operators"] = " ".join(suspect.operators)
            writer.writerow(["" if value is None else _safe(value) for value in record.values()])
    return out.getvalue()


def _safe(value: Any) -> Any:
    """A text that a spreadsheet would take for a formula is kept from being one."""
    return f"'{value}" if isinstance(value, str) and value[:1] in "=+-@\t" else value


def _suspect(s: Suspect, begun: date, until: date | None) -> dict[str, Any]:
    def um(value: float | None) -> float | None:
        return None if value is None else round(value, 2)

    error = s.error
    values = (
        s.serial, s.pass_no, s.family, s.when.isoformat(), s.machine, s.operation, s.feature, list(s.operators),
        s.places, um(error.estimate) if error else None, um(error.lower) if error else None,
        um(error.upper) if error else None, um(s.audited), s.beyond, begun.isoformat(),
        until.isoformat() if until else None,
    )  # fmt: skip
    return dict(zip(COLUMNS, values, strict=True))


def _record(gauge: GaugeView) -> dict[str, Any]:
    doubt = gauge.doubt
    best = max(gauge.masters, key=lambda m: m.checks, default=None)
    return {
        "gauge": gauge.key,
        "name": gauge.name,
        "checks": len(gauge.checks),
        "last_check": gauge.checks[-1].time.isoformat() if gauge.checks else None,
        "in_doubt": doubt is not None,
        "off_since": doubt.begun.isoformat() if doubt else None,
        "parts_to_measure_again": len({s.serial for s in doubt.suspects}) if doubt else 0,
        "bias_um": best.bias.to_dict() if best else None,
        "standard_uncertainty_um": {u.feature: u.trust.standard for u in gauge.uses if u.trust is not None},
        "due": gauge.due.isoformat() if gauge.due else None,
    }


def register(server: Flask, desk: Desk) -> None:
    """The list of parts to measure again as a file to download, and the door for the commands."""
    from flask import Response, abort, request

    @server.get("/gauges/<gauge>/suspects.csv")
    def download(gauge: str) -> Response:
        from dashboard.pages.gauges import gauges_of

        one = next((g for g in gauges_of(desk).gauges if g.key == gauge), None)
        if one is None:
            abort(404)
        head = {"Content-Disposition": f'attachment; filename="suspects-{_file_name(gauge)}.csv"'}
        return Response(suspects_csv(one), mimetype="text/csv", headers=head)

    @server.post("/hand/gauges")
    def hand_gauges() -> dict[str, Any]:
        return run(desk.shop, request.get_json()).as_record()


def _file_name(key: str) -> str:
    return "".join(c if c.isalnum() or c in "-_" else "-" for c in key)
