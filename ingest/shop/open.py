"""What an open shop holds, and the moments it answers from."""

from __future__ import annotations

import threading
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING

from ingest.intake.inbox import Inbox, InboxState
from ingest.plans.calendar import calendar_of
from ingest.plans.model import Plan
from ingest.shop.folder import Folder
from ingest.state import queries
from ingest.storage.lock import FolderLock
from ingest.storage.store import Store

if TYPE_CHECKING:
    from ingest.state.moment import Moment

# What assesses is loaded when it is needed: the list is read from what is stored, before that.


class ShopError(Exception):
    """Something asked of the shop cannot be done; the message says why and what to do."""


class OpenShop:
    """Folder, store, lock and plan of an open shop. Use `ingest.shop.shop.Shop`."""

    def __init__(self, folder: Folder, store: Store, lock: FolderLock, plan: Plan) -> None:
        self.folder = folder.path
        self._folder = folder
        self._store = store
        self._lock = lock
        self._turn = threading.RLock()
        self._inbox = Inbox(folder.inbox, folder.run / "heartbeat.json")
        self._use(plan)
        self._current: Moment | None = None
        self._past: tuple[datetime, Moment] | None = None

    def _use(self, plan: Plan) -> None:
        self.plan = plan
        self.calendar = calendar_of(plan)

    @property
    def inbox(self) -> InboxState:
        """What the last look at the inbox found."""
        return self._inbox.state

    def now(self) -> datetime:
        """The shop's clock, aware and in its zone; in a demonstration it stands still."""
        if self.plan.demonstration is not None:
            return self.plan.demonstration.now.replace(tzinfo=self.plan.zone)
        return datetime.now(self.plan.zone)

    def _stamp(self, known_at: datetime | None) -> datetime:
        """A known-at moment as the store keeps it; a moment without a zone is shop time."""
        moment = known_at or self.now()
        if moment.tzinfo is None:
            moment = moment.replace(tzinfo=self.plan.zone)
        return moment.astimezone(UTC).replace(tzinfo=None)

    def _refresh(self, cause: str, since: datetime | None = None) -> None:
        """Assess what has changed, after anything came in or was decided.

        With `since`, facts of several moments have come in at once since then: what was late among them is
        gone through again moment by moment.
        """
        from ingest.shop.replay import replay
        from ingest.state.saving import save

        moment = self._known()
        self._current, self._past = moment, None
        if since is not None:
            replay(self._store, self._folder.shelf, moment, since)
        save(self._store, moment, self._stamp(None), cause)

    def _known(self, cut: datetime | None = None) -> Moment:
        """The moment of what was known by a cut, by default of everything."""
        from ingest.state.moment import Moment

        return Moment(queries.known(self._store, self._folder.shelf, cut))

    def _now_moment(self) -> Moment:
        with self._turn:
            if self._current is None:
                self._current = self._known()
            return self._current

    def _moment(self, cut: datetime) -> Moment:
        with self._turn:
            if queries.latest(self._store) <= queries.cut_of(cut):
                return self._now_moment()
            if self._past is None or self._past[0] != cut:
                self._past = (cut, self._known(cut))
            return self._past[1]

    def _cut(self, as_of: date) -> datetime:
        if isinstance(as_of, datetime):
            return as_of if as_of.tzinfo else as_of.replace(tzinfo=self.plan.zone)
        return self.calendar.end_of_day(as_of)
