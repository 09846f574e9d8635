"""What a shop is asked about its gauges, and about what a part proves by them."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from ingest.assessing.states import board_rows
from ingest.shop.open import OpenShop
from ingest.state import queries

if TYPE_CHECKING:
    from ingest.gauges.heat import AtReference
    from ingest.gauges.judged import ConformFact
    from ingest.gauges.true_size import TrueSize
    from ingest.gauges.trusted import GaugeTrust
    from ingest.gauges.view import GaugesView
    from ingest.state.moment import Moment
    from spc.capability.process_capability import Capability


class GaugeAskingShop(OpenShop):
    """Questions about gauges. Use `ingest.shop.shop.Shop`."""

    _trust: tuple[Moment, GaugeTrust] | None = None

    def gauges(self, as_of: date | None = None) -> GaugesView:
        """Everything known of the gauges.

        Parameters
        ----------
        as_of : date, optional
            What was known at the end of that day, with the clock of then; by default now.
        """
        from ingest.gauges.view import gauges_view

        if as_of is None:
            moment = self._now_moment()
            states = queries.states(self._store, self.plan.zone)
            return gauges_view(moment, board_rows(self.plan, self.calendar, states, self.now()), self.now())
        cut = self._cut(as_of)
        with self._turn:
            moment, clock = self._moment(cut), min(cut, self.now())
            rows = board_rows(moment.known.plan, moment.calendar, moment.states(), clock)
            return gauges_view(moment, rows, clock)

    def _trusted(self) -> tuple[Moment, GaugeTrust]:
        from ingest.gauges.trusted import GaugeTrust

        moment = self._now_moment()
        kept = self._trust
        if kept is None or kept[0] is not moment:
            kept = self._trust = (moment, GaugeTrust(moment))
        return kept

    def true_size(self, process: str, held: Capability) -> TrueSize | None:
        """Ppk of the true size beside the measured one; None where it cannot be told."""
        from ingest.gauges.true_size import true_size

        return true_size(*self._trusted(), process, held)

    def conforms(self, serial: str) -> tuple[ConformFact, ...]:
        """What each feature of a part proves; empty for an unknown serial."""
        from ingest.gauges.conform import part_conforms

        return part_conforms(*self._trusted(), serial)

    def gauge_share(self, process: str, family: str) -> float | None:
        """What the gauges bring to one value of a process from reading to reading; None where it is not known."""
        from ingest.gauges.share import repeats_in

        return repeats_in(*self._trusted(), process, family)

    def coarse_charts(self, process: str) -> tuple[str, ...]:
        """Gauges whose steps are too coarse for the chart of a process."""
        from ingest.gauges.coarse import coarse_charts

        return coarse_charts(self._now_moment(), process)

    def at_reference(self, serial: str) -> tuple[AtReference, ...]:
        """Sizes of a part at 20 degC, as read and corrected; empty for an unknown serial."""
        from ingest.gauges.heat import part_at_reference

        return part_at_reference(self._now_moment(), serial)
