"""What a shop is asked: the board, the pages, the files, the log."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from ingest.answers.processes import (
    BoardRow,
    EventFact,
    LogEntry,
    PartView,
    ProcessView,
    Question,
    ReceiptFact,
    SetAsideFact,
    SourceRow,
)
from ingest.answers.wear import (
    AimFact,
    BacktestView,
    CauseFact,
    CompanionFact,
    FirstOfDay,
    StartFact,
    WearView,
)
from ingest.assessing.states import board_rows
from ingest.readings.known import standing
from ingest.shop.gauges import GaugeAskingShop
from ingest.shop.open import ShopError
from ingest.state import queries
from ingest.views import history
from ingest.views.process import columns_of, events_on, process_view

if TYPE_CHECKING:
    from ingest.answers.case import ServiceCase
    from ingest.answers.month import MonthLine, MonthReview, MonthRun
    from spc.capability.histogram import Histogram
    from spc.capability.process_capability import Capability
    from spc.capability.shapes import Drawable


class AnsweringShop(GaugeAskingShop):
    """Questions to a shop. Use `ingest.shop.shop.Shop`.

    What a page needs is loaded when it is first asked for, so that a start does not wait for it.
    """

    def board(self, as_of: date | None = None) -> list[BoardRow]:
        """Every process, worst first.

        Parameters
        ----------
        as_of : date, optional
            Show what was known at the end of that day (or at that moment, for a datetime), with the clock of
            then; by default what is known now, from stored assessments.
        """
        if as_of is None:
            return board_rows(
                self.plan, self.calendar, queries.states(self._store, self.plan.zone), self.now()
            )
        cut = self._cut(as_of)
        with self._turn:
            moment = self._moment(cut)
            return board_rows(moment.known.plan, moment.calendar, moment.states(), min(cut, self.now()))

    def process(self, process: str, as_of: date | None = None) -> ProcessView | None:
        """The page of one process; None when there is no such process."""
        row = next((r for r in self.board(as_of) if r.process == process), None)
        if row is None:
            return None
        if as_of is not None:
            with self._turn:
                moment = self._moment(self._cut(as_of))
                done = moment.assessed(process)
                from ingest.state.saving import part_rows

                parts = columns_of(part_rows(done, moment.resolved.families))
                events = events_on(moment.known.plan, moment.calendar, done.facts.events)
            return process_view(
                moment.known.plan, moment.calendar, row, done.state, parts, done.state.signals, events
            )
        state = queries.state(self._store, process, self.plan.zone)
        if state is None:
            return None
        from ingest.assessing.facts import concerns

        feature = self.plan.features[state.feature]
        table = queries.events(self._store)
        _, undone = standing(queries.decisions(self._store))
        table = table[~table["journal_line"].isin(list(undone))]
        mine = table[
            (table["target"] == state.machine)
            & table["kind"].isin([k for k, e in self.plan.events.items() if concerns(feature, e.features)])
        ]
        return process_view(
            self.plan, self.calendar, row, state, queries.parts(self._store, process),
            queries.signals(self._store, self.plan.zone, process), events_on(self.plan, self.calendar, mine),
        )  # fmt: skip

    def part(self, serial: str) -> PartView | None:
        """Everything known of one part; None when nobody has heard of the serial."""
        from ingest.views.part import part_view

        return part_view(self._now_moment(), serial)

    def source(self, receipt: int, line: int) -> SourceRow:
        """A line of a file in the archive, with the lines around it.

        Raises
        ------
        ShopError
            There is no such file or line.
        """
        names = queries.receipt_names(self._store)
        if receipt not in names:
            raise ShopError(f"There is no receipt {receipt}.")
        name, sha = names[receipt]
        try:
            return history.source_row(self._folder.archive.read(sha), receipt, name, sha, line)
        except history.NoSuchLine as error:
            raise ShopError(str(error)) from None

    def receipts(self) -> list[ReceiptFact]:
        """Every file received, newest first, with the readings of it that do not count for now."""
        held = self._now_moment().resolved.held()["receipt"].value_counts()
        return [replace(r, held=int(held.get(r.id, 0))) for r in queries.receipts(self._store, self.calendar)]

    def set_aside_rows(self, receipt: int | None = None) -> list[SetAsideFact]:
        """Every row or cell that does not count, why, and what to do about it; newest file first."""
        from ingest.views.aside import set_aside_facts

        return set_aside_facts(self._store, self._now_moment(), receipt)

    def rows_naming(self, serial: str) -> list[SetAsideFact]:
        """Rows never stored that name a serial; quick, as the rest of the shop is not looked at."""
        from ingest.views.aside import set_aside_facts

        return set_aside_facts(self._store, self._now_moment(), None, serial)

    def questions(self) -> tuple[Question, ...]:
        """Oddities that stopped nothing and on which nobody has decided yet (see `judge_rows`)."""
        from ingest.views.questions import open_questions

        moment = self._now_moment()
        return open_questions(moment.known, moment.resolved.questions)

    def log(self) -> list[LogEntry]:
        """Every event, signal, decision and file, newest first."""
        return history.log(self._store, self._now_moment())

    def withdrawn(self, most: int) -> list[LogEntry]:
        """The newest so many entries of the log that tell of a signal withdrawn because of late rows."""
        return history.withdrawn(self._store, self.plan, self.calendar, most)

    def capability(
        self, process: str, family: str, since: date | None = None, until: date | None = None
    ) -> Capability | None:
        """Capability of one family on one process from the parts of some days (see `ingest.views.ability`)."""
        from ingest.views.ability import capability

        moment = self._now_moment()
        return capability(moment, process, family, since, until, self.gauge_share(process, family))

    def histogram(self, process: str, family: str, fit: Drawable | None) -> Histogram | None:
        """Readings of one family on one process in classes (see `ingest.views.ability`)."""
        from ingest.views.ability import histogram

        return histogram(self._now_moment(), process, family, fit)

    def wear(self, process: str) -> WearView | None:
        """Lives of the tool of a process over one another; None when it has no tool whose life is counted."""
        from ingest.views.wear import wear_view

        moment = self._now_moment()
        if process not in moment.processes:
            return None
        return wear_view(self.plan, moment.assessed(process), moment.resolved.families)

    def causes(self, process: str) -> tuple[tuple[CauseFact, ...], tuple[str, ...]] | None:
        """Causes that fit its leading open signal, and what cannot be told apart; None for no such process."""
        from ingest.views.causes import causes_view

        moment = self._now_moment()
        if process not in moment.processes:
            return None
        weighed = causes_view(moment, process, queries.states(self._store, self.plan.zone))
        return weighed.causes, weighed.apart

    def first_of_day(self, process: str) -> FirstOfDay | None:
        """Whether the first part of a day stands apart (see `ingest.views.causes`); None where it does not."""
        from ingest.views.causes import first_part_of_the_day

        moment = self._now_moment()
        return first_part_of_the_day(moment, process) if process in moment.processes else None

    def aims(self, process: str) -> tuple[AimFact, ...]:
        """Where to aim it, by family (see `ingest.views.aiming`); empty where that cannot be told."""
        from ingest.views.aiming import aims

        moment = self._now_moment()
        return aims(moment, process) if process in moment.processes else ()

    def starts(self, process: str) -> tuple[StartFact, ...]:
        """Where a life of its tool should begin to last longest, by family; empty where that cannot be told."""
        from ingest.views.aiming import starts

        moment = self._now_moment()
        return starts(moment, process) if process in moment.processes else ()

    def companions(self, process: str) -> tuple[CompanionFact, ...]:
        """What else its tool makes, in this life against the earlier ones; empty without such a tool."""
        from ingest.views.companions import companions

        moment = self._now_moment()
        return companions(moment, process) if process in moment.processes else ()

    def wear_backtest(self, process: str) -> BacktestView | None:
        """What was forecast of every finished life of its tool, against what came; None without such a tool."""
        from ingest.views.wear import backtest_view

        moment = self._now_moment()
        return backtest_view(self.plan, moment.assessed(process)) if process in moment.processes else None

    def month(self, year: int, month: int, step: Callable[[int, int], None] | None = None) -> MonthReview:
        """Everything that is told of a month (see `ingest.month.review`); `step` may raise to end the work."""
        from ingest.month.review import month_review

        with self._turn:
            moment, states = self._now_moment(), queries.states(self._store, self.plan.zone)
            signals = queries.signals(self._store, self.plan.zone)
            aside, receipts, digest = self.set_aside_rows(), self.receipts(), self.digest()
        told = moment, states, signals, aside, receipts, self.now(), digest
        return month_review(*told, year, month, step, self.gauge_share)

    def month_run(self, line: MonthLine, year: int, month: int) -> MonthRun | None:
        """What is drawn of one line of a month."""
        from ingest.month.review import month_run

        return month_run(self._now_moment(), line, year, month)

    def machine_events(self, machine: str, as_of: date | None = None) -> list[EventFact]:
        """What was done to a machine or gauge, oldest first, as known by the end of a day."""
        from ingest.service.case import machine_events

        return machine_events(
            self._now_moment() if as_of is None else self._moment(self._cut(as_of)), machine
        )

    def service_case(
        self,
        machine: str,
        event: EventFact | None = None,
        price: float | None = None,
        down_hours: float | None = None,
        as_of: date | None = None,
        step: Callable[[int, int], None] | None = None,
    ) -> ServiceCase:
        """What something done to a machine did, or what a service of it would save (see `ingest.service.case`)."""
        from ingest.service.case import past_case, proposed_case

        with self._turn:
            if as_of is None:
                moment, asked = self._now_moment(), self.now()
                states = queries.states(self._store, self.plan.zone)
            else:
                asked = min(self._cut(as_of), self.now())
                moment = self._moment(self._cut(as_of))
                about = {machine, *moment.known.plan.gauges}
                wanted = [p for p in moment.processes if p.split("/")[0] in about]
                states = {}
                for done, p in enumerate(wanted):
                    states[p] = moment.assessed(p).state
                    if step is not None:
                        step(done + 1, len(wanted))
        if event is not None:
            return past_case(moment, states, event, asked, step)
        return proposed_case(moment, states, machine, asked, price, down_hours)

    def digest(self) -> str:
        """Hash of readings, assessments, signals and decisions: equal for equal shops, whatever their ids."""
        return history.digest(self._store)
