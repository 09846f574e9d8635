"""The shop as of a moment: one pure path from what was known to the state of every process."""

from __future__ import annotations

from functools import cached_property

from ingest.assessing.assessment import AssessedProcess, ProcessState, assess_process
from ingest.assessing.facts import ShopFacts, shop_facts
from ingest.plans.calendar import calendar_of
from ingest.readings.corrections import corrected
from ingest.readings.known import Known
from ingest.readings.resolve import Resolved, resolve


class Moment:
    """Facts of a moment, with everything that follows from them computed when first asked for.

    Parameters
    ----------
    known : Known
        What was known. The result depends on nothing else: not on the clock, not on what is stored.
    """

    def __init__(self, known: Known) -> None:
        self.known = corrected(known)
        self.calendar = calendar_of(known.plan)
        self._assessed: dict[str, AssessedProcess] = {}

    @cached_property
    def resolved(self) -> Resolved:
        """Readings with what they count as."""
        return resolve(self.known)

    @cached_property
    def facts(self) -> ShopFacts:
        """Processes ready to be assessed."""
        return shop_facts(self.known, self.resolved, self.calendar)

    @property
    def processes(self) -> tuple[str, ...]:
        """Ids of all processes, in order."""
        return tuple(self.facts.processes)

    def assessed(self, process: str) -> AssessedProcess:
        """Assessment of one process.

        Raises
        ------
        KeyError
            There was no such process at that moment.
        """
        if process not in self._assessed:
            self._assessed[process] = assess_process(
                self.known, self.calendar, self.facts, process, self.resolved.families
            )
        return self._assessed[process]

    def states(self) -> dict[str, ProcessState]:
        """State of every process."""
        return {process: self.assessed(process).state for process in self.processes}
