"""The one process that owns a shop: it watches the inbox and serves the pages, on this machine only."""

from __future__ import annotations

import importlib
import logging
import os
import secrets
import signal
import socket
import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from dashboard.desk import Desk
from dashboard.serving import running

if TYPE_CHECKING:
    from flask import Response

    from ingest.shop.shop import Shop

HOST = "127.0.0.1"
WATCH_EVERY_S = 3.0
WARM_AFTER_S = 20.0
"""So long the first answer is waited for before anything is made ready for the next."""
THREADS = 8
CONNECTIONS = 1000
"""Browsers keep connections open; the server's default of 100 stalls a busy shop for tens of seconds."""

log = logging.getLogger("tenthwise")


class PortTaken(Exception):  # noqa: N818 - reads as what it is
    """Something else listens at the port."""


class Service:
    """A shop being served. Use it as ``with``: leaving stops the watcher and the server.

    Parameters
    ----------
    shop : Shop
        Open; the service closes it.
    port : int
        Port to listen at; 0 lets the system choose.

    Raises
    ------
    PortTaken
        The port is in use.
    """

    def __init__(self, shop: Shop, port: int) -> None:
        self.desk = Desk(shop)
        self._folder = Path(shop.folder)
        self._stop = threading.Event()
        self.answered = threading.Event()
        """Set with the first page that somebody was shown."""
        self._listener = _listen(port)
        self.port: int = self._listener.getsockname()[1]
        self.note = running.Running(os.getpid(), self.port, secrets.token_urlsafe(32))
        self._watcher = threading.Thread(target=self._watch, name="inbox", daemon=True)
        self._warmer = threading.Thread(target=self._warm, name="warm", daemon=True)

    def __enter__(self) -> Service:
        from waitress.server import create_server

        from dashboard.serving.web import create_app

        self.app = create_app(self.desk, port=self.port, token=self.note.token)
        self.app.server.after_request(self._answering)
        self._server = create_server(
            self.app.server,
            sockets=[self._listener],
            threads=THREADS,
            connection_limit=CONNECTIONS,
            ident="",
            clear_untrusted_proxy_headers=True,
        )
        running.leave_note(self._folder, self.note)
        self._watcher.start()
        self._warmer.start()
        return self

    def run(self) -> None:
        """Answer until told to stop."""
        try:
            self._server.run()
        except OSError:
            # Its sockets were closed under it: that is how another thread tells it to stop.
            if not self._stop.is_set():
                raise

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self.answered.set()
        running.drop_note(self._folder)
        self._server.close()
        self._watcher.join(timeout=30)
        self._warmer.join(timeout=30)
        self.desk.shop.close()

    def _answering(self, response: Response) -> Response:
        from flask import request

        if request.path == "/_dash-update-component":
            self.answered.set()
        return response

    def _warm(self) -> None:
        """Load and work out what the first page of a process needs, once the first list has been shown."""
        self.answered.wait(WARM_AFTER_S)
        if self._stop.is_set():
            return
        try:
            importlib.import_module("statsmodels.stats.diagnostic")
            for worst in self.desk.board()[:1]:
                for family in self.desk.process(worst.process).families:
                    self.desk.capability(worst.process, family)
        except Exception:  # whoever opens the page is told; until then the others are served
            log.exception("The first page could not be made ready.")

    def _watch(self) -> None:
        while not self._stop.is_set():
            try:
                self.desk.scan_inbox()
            except Exception:  # the watcher outlives a bad file; the page shows its last heartbeat
                log.exception("The inbox could not be read; trying again in %.0f s.", WATCH_EVERY_S)
            self._stop.wait(WATCH_EVERY_S)


def _listen(port: int) -> socket.socket:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if os.name == "posix":
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((HOST, port))
    except OSError:
        listener.close()
        raise PortTaken(
            f"Port {port} is in use by another program: choose another with --port, or --port 0 for any."
        ) from None
    return listener


def serve(shop: Shop, port: int, ready: Callable[[str], None]) -> None:
    """Serve a shop until the process is told to stop (Ctrl+C or terminate).

    Parameters
    ----------
    shop : Shop
        Open; closed at the end.
    port : int
        Port to listen at; 0 lets the system choose.
    ready : callable
        Told the address once the pages can be opened.
    """

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    signal.signal(signal.SIGTERM, stop)
    try:
        service = Service(shop, port)
    except PortTaken:
        shop.close()
        raise
    try:
        with service:
            ready(service.note.address)
            service.run()
    except KeyboardInterrupt:
        pass
