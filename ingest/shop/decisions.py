"""What people decide about a shop: each decision is a line of the journal, and the shop is assessed anew."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from ingest.answers.processes import SignalFact
from ingest.shop.folder import mirror
from ingest.shop.open import OpenShop, ShopError
from ingest.state import queries
from spc.process import OUTCOMES


class DecidingShop(OpenShop):
    """Decisions on events, signals, parts and rows. Use `ingest.shop.shop.Shop`."""

    def note_event(
        self,
        target: str,
        kind: str,
        happened_at: datetime,
        who: str,
        tool: str | None = None,
        note: str = "",
        known_at: datetime | None = None,
        verified: bool = False,
    ) -> int:
        """Note something done to a machine or gauge; returns its line in the journal.

        Raises
        ------
        ShopError
            Machine, gauge or kind is not in the plan, or the moment is yet to come.
        """
        if target not in self.plan.machines and target not in self.plan.gauges:
            legal = ", ".join(sorted((*self.plan.machines, *self.plan.gauges)))
            raise ShopError(f"The plan has no machine or gauge {target!r}; it has {legal}.")
        if kind not in self.plan.events:
            legal = ", ".join(sorted(self.plan.events))
            raise ShopError(f"The plan has no kind of event {kind!r}; it has {legal}.")
        when = happened_at if happened_at.tzinfo else happened_at.replace(tzinfo=self.plan.zone)
        if when > self.now():
            raise ShopError(f"{when:%Y-%m-%d %H:%M} is yet to come: note an event when it has happened.")
        body = {"target": target, "kind": kind, "happened_at": when.isoformat(), "tool": tool, "note": note}
        return self._decide("note_event", who, body, known_at, verified)

    def undo(self, journal_line: int, who: str, reason: str, known_at: datetime | None = None) -> int:
        """Take a decision back; both stay in the log.

        Raises
        ------
        ShopError
            There is no such line, it cannot be taken back, or it has been already.
        """
        lines = queries.decisions(self._store)
        target = next((d for d in lines if d.line == journal_line), None)
        if target is None or target.kind in ("undo", "plan_accepted"):
            raise ShopError(f"Line {journal_line} of the journal is not a decision that can be taken back.")
        if any(d.kind == "undo" and d.body["line"] == journal_line for d in lines):
            raise ShopError(f"Line {journal_line} of the journal has been taken back already.")
        return self._decide("undo", who, {"line": journal_line, "reason": reason}, known_at)

    def close_signal(
        self,
        process: str,
        monitor: str,
        serial: str,
        pass_no: int,
        outcome: str,
        cause: str,
        who: str,
        known_at: datetime | None = None,
        verified: bool = False,
    ) -> int:
        """Close or confirm a signal with a cause; returns the line in the journal.

        Parameters
        ----------
        outcome : str
            fixed | new level accepted | no cause found.

        Raises
        ------
        ShopError
            There is no such signal, or the outcome is not one of the three.
        """
        if outcome not in OUTCOMES:
            raise ShopError(f"{outcome!r} is no outcome; choose one of {', '.join(OUTCOMES)}.")
        known = {(s.monitor, s.serial, s.pass_no) for s in self._signals_at(process, known_at)}
        if (monitor, serial, pass_no) not in known:
            raise ShopError(f"{process} has no signal of {monitor} raised by {serial}, pass {pass_no}.")
        body = {
            "process": process, "monitor": monitor, "serial": serial, "pass": pass_no,
            "outcome": outcome, "cause": cause,
        }  # fmt: skip
        return self._decide("close_signal", who, body, known_at, verified)

    def _signals_at(self, process: str, known_at: datetime | None) -> list[SignalFact]:
        if known_at is None:
            return queries.signals(self._store, self.plan.zone, process)
        moment = self._moment(known_at if known_at.tzinfo else known_at.replace(tzinfo=self.plan.zone))
        return list(moment.assessed(process).state.signals) if process in moment.processes else []

    def set_part_aside(
        self,
        process: str | None,
        serial: str,
        pass_no: int,
        reason: str,
        who: str,
        known_at: datetime | None = None,
        verified: bool = False,
    ) -> int:
        """Leave a part out of what a process (None: any) is learned from; it stays visible.

        Raises
        ------
        ShopError
            No reason is given.
        """
        if not reason.strip():
            raise ShopError("Say why the part is set aside.")
        body = {"process": process, "serial": serial, "pass": pass_no, "reason": reason}
        return self._decide("set_part_aside", who, body, known_at, verified)

    def restore_part(
        self, process: str | None, serial: str, pass_no: int, reason: str, who: str, **said: Any
    ) -> int:
        """Count a part again that had been set aside; `said` as for `set_part_aside`."""
        body = {"process": process, "serial": serial, "pass": pass_no, "reason": reason}
        return self._decide("restore_part", who, body, **said)

    def _decide(
        self,
        kind: str,
        who: str,
        body: dict[str, Any],
        known_at: datetime | None = None,
        verified: bool = False,
    ) -> int:
        with self._turn:
            line = self._folder.journal.append(kind, who, verified, body, self._stamp(known_at))
            mirror(self._store, line)
            self._store.acknowledge()
            self._refresh(f"line {line.n} of the journal ({kind.replace('_', ' ')} by {who})")
            return line.n
