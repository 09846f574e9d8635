"""Long work for a page: done on the side, with how far it is, and it can be stopped."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from typing import Any

log = logging.getLogger("tenthwise")
SOON_S = 0.4
"""What is done within this time is shown at once."""
KEPT = 8


class Stopped(Exception):  # noqa: N818 - reads as what it is
    """Somebody stopped the work."""


@dataclass
class Task:
    """One piece of work and how far it is."""

    done: int = 0
    total: int = 0
    stopped: bool = False
    wrong: str | None = None
    result: Any = None
    ended: threading.Event = field(default_factory=threading.Event)
    """Set when the work is over, whatever came of it."""

    @property
    def finished(self) -> bool:
        """Whether the work is over."""
        return self.ended.is_set()

    def step(self, done: int, total: int) -> None:
        """Told by the work; ends it when somebody has stopped it."""
        if self.stopped:
            raise Stopped
        self.done, self.total = done, total


class Work:
    """Tasks of one service, kept until the shop changes.

    Parameters
    ----------
    version : callable
        Counts the changes of the shop.
    """

    def __init__(self, version: Callable[[], int]) -> None:
        self._version = version
        self._tasks: dict[Hashable, Task] = {}
        self._turn = threading.Lock()

    def ask(self, key: Hashable, make: Callable[[Callable[[int, int], None]], Any]) -> Task:
        """The task of this name since the last change; begun now if there is none.

        Parameters
        ----------
        key : hashable
        make : callable
            Does the work; is given what to tell its progress to.
        """
        with self._turn:
            full = (key, self._version())
            task = self._tasks.get(full)
            if task is not None:
                return task
            task = Task()
            while len(self._tasks) >= KEPT:
                self._tasks.pop(next(iter(self._tasks)))
            self._tasks[full] = task
        thread = threading.Thread(target=self._run, args=(task, make), name="report", daemon=True)
        thread.start()
        thread.join(SOON_S)
        return task

    def stop(self, key: Hashable) -> None:
        """Stop the work of this name, if it runs."""
        with self._turn:
            task = self._tasks.get((key, self._version()))
        if task is not None:
            task.stopped = True

    def again(self, key: Hashable) -> None:
        """Forget a task that was stopped or went wrong, so that it can begin anew."""
        with self._turn:
            task = self._tasks.get((key, self._version()))
            if task is not None and (task.stopped or task.wrong):
                del self._tasks[(key, self._version())]

    @staticmethod
    def _run(task: Task, make: Callable[[Callable[[int, int], None]], Any]) -> None:
        try:
            task.result = make(task.step)
        except Stopped:
            pass  # the page says so by itself
        except (ValueError, LookupError) as error:
            task.wrong = str(error)
        except Exception:
            log.exception("A report could not be made.")
            task.wrong = "It could not be made; the service's own log says why."
        finally:
            task.ended.set()
