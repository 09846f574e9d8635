"""Forms: what a person can say to the shop. Every one names who speaks and may be dated back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from markupsafe import Markup

from dashboard.markup import join, tag
from ingest.answers.processes import BoardRow, PartPoint, Question, SetAsideFact, SignalFact

if TYPE_CHECKING:
    from ingest.plans.model import EventKind, Plan

OUTCOMES = {
    "fixed": "The cause was found and fixed",
    "new level accepted": "It stays like this from now on, and that is accepted",
    "no cause found": "No cause was found",
}


def who_field(plan: Plan) -> Markup:
    """Who speaks: the plan's people, or initials typed in."""
    options = [tag("option", "who?", value="")]
    options += [
        tag("option", f"{initials} ({role})", value=initials) for initials, role in plan.people.items()
    ]
    return tag(
        "label",
        "Who ",
        tag("select", options, name="who", required=True, data_keep="who"),
        tag("small", "not signed in, so it is marked unverified"),
        class_="who",
    )


def when_field() -> Markup:
    """When it happened; empty means now."""
    return tag(
        "label",
        "When ",
        tag("input", type="datetime-local", name="when", step="60"),
        tag("small", "leave empty for now"),
    )


def hidden(**values: object) -> Markup:
    """Fields that say what a form is about."""
    return join(tag("input", type="hidden", name=name, value=value) for name, value in values.items())


def undo_form(journal_line: int) -> Markup:
    """Take a decision or a noted event back; it stays in the log."""
    return tag(
        "form",
        hidden(line=journal_line),
        tag("button", "Undo", class_="small"),
        class_="act inline",
        data_act="undo",
        data_whoever=True,
    )


def event_kinds(plan: Plan, machine: str, *, buttons: bool) -> list[EventKind]:
    """Kinds of event that make sense on a machine: not those that renew another machine's tool."""
    owners: dict[str, set[str]] = {}
    for renewal in plan.renewals:
        for kind in renewal.events:
            owners.setdefault(kind, set()).add(renewal.machine)
    return [
        kind
        for key, kind in plan.events.items()
        if machine in owners.get(key, {machine}) and (kind.button is not None or not buttons)
    ]


def big_buttons(plan: Plan, row: BoardRow) -> Markup:
    """One touch for what is done most: the buttons the plan names."""
    kinds = event_kinds(plan, row.machine, buttons=True)
    if not kinds:
        return Markup("")
    buttons = [
        tag("button", kind.button, tag("small", kind.name), name="kind", value=kind.key, class_="touch")
        for kind in kinds
    ]
    return tag(
        "form",
        hidden(target=row.machine),
        tag("div", buttons, class_="touches"),
        tag("div", who_field(plan), when_field(), class_="fields"),
        class_="act buttons",
        data_act="note_event",
        aria_label=f"Log what was done on {row.machine}",
    )


def event_form(plan: Plan, row: BoardRow) -> Markup:
    """Note any event of the plan's list."""
    options = [
        tag("option", kind.name, value=kind.key) for kind in event_kinds(plan, row.machine, buttons=False)
    ]
    return tag(
        "form",
        hidden(target=row.machine),
        tag(
            "div",
            tag("label", "What was done ", tag("select", options, name="kind", required=True)),
            tag("label", "Tool ", tag("input", name="tool", maxlength=80), tag("small", "if a tool went in")),
            tag("label", "Note ", tag("input", name="note", maxlength=400)),
            when_field(),
            who_field(plan),
            class_="fields",
        ),
        tag("button", f"Note it on {row.machine}"),
        class_="act",
        data_act="note_event",
    )


def close_form(plan: Plan, signal: SignalFact) -> Markup:
    """Say what a signal was."""
    options = [tag("option", text, value=value) for value, text in OUTCOMES.items()]
    guess = ""
    if signal.status == "cleared" and signal.cure is not None:
        guess = f"{signal.cure.kind_name} on {signal.cure.time:%Y-%m-%d}"
    return tag(
        "form",
        hidden(process=signal.process, monitor=signal.monitor, serial=signal.serial, pass_no=signal.pass_no),
        tag(
            "div",
            tag("label", "Outcome ", tag("select", options, name="outcome", required=True)),
            tag(
                "label",
                "Cause ",
                tag("input", name="cause", value=guess, maxlength=400, required=True),
                tag("small", "what it was, in your words"),
            ),
            who_field(plan),
            class_="fields",
        ),
        tag("button", "Close this signal" if signal.status == "open" else "Confirm"),
        class_="act",
        data_act="close_signal",
    )


def aside_form(plan: Plan, process: str, parts: tuple[PartPoint, ...]) -> Markup:
    """Set a part aside, so that it no longer counts; it stays visible."""
    known = [
        tag("option", value=f"{part.serial}/{part.pass_no}", label=f"{part.time:%Y-%m-%d %H:%M}")
        for part in reversed(parts[-120:])
    ]
    return tag(
        "form",
        hidden(process=process),
        tag(
            "div",
            tag(
                "label",
                "Block ",
                tag("input", name="part", list="parts-known", required=True, autocomplete="off"),
                tag("small", "serial/pass, as in the list"),
            ),
            tag("datalist", known, id="parts-known"),
            tag("label", "Reason ", tag("input", name="reason", required=True, maxlength=400)),
            who_field(plan),
            class_="fields",
        ),
        tag("button", "Set it aside"),
        class_="act",
        data_act="set_part_aside",
    )


def restore_form(plan: Plan, process: str, part: PartPoint) -> Markup:
    """Let a part count again."""
    return tag(
        "form",
        hidden(process=process, part=f"{part.serial}/{part.pass_no}", reason="counts again"),
        who_field(plan),
        tag("button", "Let it count again", class_="small"),
        class_="act inline",
        data_act="restore_part",
    )


def _why_and_who(plan: Plan) -> Markup:
    return tag(
        "div",
        tag("label", "Reason ", tag("input", name="reason", required=True, maxlength=400)),
        who_field(plan),
        class_="fields",
    )


def answer_form(plan: Plan, question: Question) -> Markup:
    """Answer a question about stored rows: they are right, this line is wrong, or all of the file is."""
    return tag(
        "form",
        hidden(receipt=question.receipt, line=question.line, col=""),
        _why_and_who(plan),
        tag("button", "It is right as it stands", name="use", value="yes"),
        " ",
        tag("button", "This line is wrong: reject it", name="use", value="no"),
        tag("small", tag("a", "Decide for the whole file", href=f"/intake?receipt={question.receipt}")),
        class_="act",
        data_act="judge_rows",
    )


def every_row_form(plan: Plan, receipt: int) -> Markup:
    """Reject all of a file, or say that all of it is right."""
    return tag(
        "form",
        hidden(receipt=receipt, everything="yes"),
        tag("p", "For every row of the file, also those that count:", class_="hint"),
        _why_and_who(plan),
        tag("button", "All of it is right as it stands", name="use", value="yes"),
        " ",
        tag("button", "All of it is wrong: reject it", name="use", value="no"),
        class_="act",
        data_act="judge_rows",
    )


def judge_form(plan: Plan, row: SetAsideFact, *, usable: bool) -> Markup:
    """Use a row as it stands, or reject it for good; either stays in the log."""
    return tag(
        "form",
        hidden(receipt=row.receipt, line=row.line, col=row.col or ""),
        _why_and_who(plan),
        tag("button", "It is right: use it", name="use", value="yes") if usable else None,
        " ",
        tag("button", "It is wrong: reject it", name="use", value="no"),
        class_="act",
        data_act="judge_rows",
    )


def fix_form(plan: Plan, row: SetAsideFact) -> Markup:
    """Write a line that could not be stored anew."""
    return tag(
        "form",
        hidden(receipt=row.receipt, line=row.line),
        tag(
            "label",
            "The whole line as it should have been ",
            tag("textarea", row.text, name="text", required=True, rows=2),
        ),
        _why_and_who(plan),
        tag("button", "Use this line instead"),
        class_="act",
        data_act="fix_row",
    )


CORRECTED = {
    "serial": "Serial",
    "family": "Family",
    "machine": "Machine",
    "operator": "Who measured",
    "unit": "Unit of the number",
    "sign": "Sign: turn it round",
}


def correct_form(plan: Plan, receipt: int, line: int | None, col: str | None) -> Markup:
    """Put right what stored rows say; without a line those of the whole file."""
    options = [tag("option", text, value=value) for value, text in CORRECTED.items()]
    return tag(
        "form",
        hidden(receipt=receipt, line="" if line is None else line, col=col or ""),
        tag(
            "div",
            tag("label", "What is wrong ", tag("select", options, name="field", required=True)),
            tag("label", "It should say ", tag("input", name="to", maxlength=80)),
            class_="fields",
        ),
        _why_and_who(plan),
        tag("button", "Put it right" if line is not None else "Put it right in the whole file"),
        class_="act",
        data_act="correct_rows",
    )


def whole_file_form(plan: Plan, receipt: int, kind: str | None, rows: int) -> Markup:
    """Use or reject every row of a file that was set aside, or those of one kind."""
    of_kind = f" as {kind.replace('_', ' ')}" if kind else ""
    what = f"all {rows:,} {'row' if rows == 1 else 'rows'} set aside{of_kind}"
    return tag(
        "form",
        hidden(receipt=receipt, kind=kind or ""),
        tag("p", f"For {what}:", class_="hint"),
        _why_and_who(plan),
        tag("button", "They are right: use them", name="use", value="yes"),
        " ",
        tag("button", "They are wrong: reject them", name="use", value="no"),
        class_="act",
        data_act="judge_rows",
    )
