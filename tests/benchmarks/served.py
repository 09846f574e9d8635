"""The demonstration shop served within this process, and asking it as a browser does."""

import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.client import HTTPConnection
from typing import Any

from dash import Dash

from dashboard.serving.service import Service
from ingest.shop.shop import Shop
from tests.benchmarks.shop import demo_folder


@contextmanager
def serve(add: Callable[[Dash, Service], None]) -> Iterator[Service]:
    """A service over a copy of the demonstration, ready and idle; `add` registers what else it shall answer."""
    with Service(Shop.open(demo_folder()), 0) as service:
        add(service.app, service)
        worker = threading.Thread(target=service.run, daemon=True)
        worker.start()
        service.answered.set()
        for thread in threading.enumerate():
            if thread.name == "warm":  # what it makes ready would be timed with the first answers
                thread.join()
        yield service


class Caller:
    """One browser's open connection.

    Parameters
    ----------
    port : int
        Where the service listens on this machine.
    """

    def __init__(self, port: int) -> None:
        self._line = HTTPConnection("127.0.0.1", port, timeout=120)

    def ask(
        self, output: tuple[str, str], inputs: dict[str, Any], state: dict[str, Any] | None = None
    ) -> bytes:
        """The answer of one callback; inputs and state are given as ``id.property``.

        Raises
        ------
        RuntimeError
            The callback failed: its time would mean nothing.
        """
        given = {
            "output": ".".join(output),
            "outputs": {"id": output[0], "property": output[1]},
            "inputs": _properties(inputs),
            "state": _properties(state or {}),
            "changedPropIds": [next(iter(inputs))],
        }
        self._line.request(
            "POST", "/_dash-update-component", json.dumps(given), {"Content-Type": "application/json"}
        )
        answer = self._line.getresponse()
        body = answer.read()
        if answer.status != 200:
            raise RuntimeError(f"{output} answered {answer.status}: {body[:300]!r}")
        return body

    def close(self) -> None:
        """Hang up."""
        self._line.close()


def _properties(values: dict[str, Any]) -> list[dict[str, Any]]:
    return [
        {"id": name.split(".")[0], "property": name.split(".")[1], "value": value}
        for name, value in values.items()
    ]
