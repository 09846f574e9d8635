"""The note a running service leaves in the shop folder (``run/service.json``), and talking to it.

The note holds the address and the token, readable by its owner only. It is believed only when the process it
names answers at that address with that token; a note left by a crash is ignored.
"""

from __future__ import annotations

import http.client
import json
import os
import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from dashboard.work.shop_work import Outcome

NOTE = Path("run") / "service.json"
PATIENCE_S = 600.0


class HandoverFailed(Exception):  # noqa: N818 - reads as what it is
    """The service did not answer as it should; the text is one sentence."""


@dataclass(frozen=True)
class Running:
    """A service that owns a shop."""

    pid: int
    port: int
    token: str

    @property
    def address(self) -> str:
        """Where its pages are."""
        return f"http://127.0.0.1:{self.port}"

    def hand_asked(self, command: str, asked: Mapping[str, Any]) -> Outcome:
        """Hand a command over with what it asks, as JSON."""
        return self._outcome("POST", f"/hand/{command}", json.dumps(asked).encode(), "application/json")

    def long_asked(
        self, command: str, asked: Mapping[str, Any], step: Callable[[int, int], object]
    ) -> Outcome:
        """Hand long work over, tell how far it is, and stop it when this command is stopped.

        Parameters
        ----------
        command : str
            ``month`` or ``service_case``.
        asked : mapping
        step : callable
            Told what is done and how much there is.

        Returns
        -------
        Outcome
            Of the work; where it was stopped in time it says so.
        """
        begin = json.dumps({"command": command, "asked": asked}).encode()
        body = json.dumps({"work": self._told("/hand/begin", begin)["work"]}).encode()
        stopping = False
        while True:
            try:
                told = self._told("/hand/look", body)
                if told["outcome"] is not None:
                    return Outcome(told["outcome"]["out"], told["outcome"]["code"], told["outcome"]["err"])
                step(told["done"], told["total"])
            except KeyboardInterrupt:
                if stopping:  # asked for twice: do not wait for what the service makes of it
                    raise
                stopping = True
                self._told("/hand/stop", body)

    def _ask(self, method: str, path: str, body: bytes, kind: str, patience: float) -> dict[str, Any]:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=patience)
        headers = {"Authorization": f"Bearer {self.token}"} | ({"Content-Type": kind} if kind else {})
        try:
            connection.request(method, path, body=body or None, headers=headers)
            answer = connection.getresponse()
            text = answer.read()
        finally:
            connection.close()
        if answer.status != 200:
            raise HandoverFailed(f"the service at {self.address} answered {answer.status} {answer.reason}")
        return json.loads(text)

    def answers(self) -> bool:
        """Whether it is really there and ours."""
        try:
            self._ask("GET", "/hand/hello", b"", "", 3.0)
        except (OSError, HandoverFailed, ValueError, http.client.HTTPException):
            return False
        return True

    def hand(self, command: str, *, query: dict[str, str] | None = None) -> Outcome:
        """Hand a command over that sends nothing but itself."""
        path = f"/hand/{command}" + (f"?{urlencode(query)}" if query else "")
        method = "GET" if command == "status" else "POST"
        return self._outcome(method, path, b"", "")

    def hand_files(self, files: Sequence[tuple[str, bytes]]) -> Outcome:
        """Hand files over to be taken in."""
        edge = secrets.token_hex(16)
        pieces = []
        for name, data in files:
            safe = (
                name.replace("\\", "/")
                .rsplit("/", 1)[-1]
                .replace('"', "%22")
                .replace("\r", "")
                .replace("\n", "")
            )
            head = (
                f'--{edge}\r\nContent-Disposition: form-data; name="file"; filename="{safe}"\r\n'
                "Content-Type: application/octet-stream\r\n\r\n"
            )
            pieces += [head.encode("utf-8"), data, b"\r\n"]
        pieces.append(f"--{edge}--\r\n".encode())
        return self._outcome(
            "POST", "/hand/ingest", b"".join(pieces), f"multipart/form-data; boundary={edge}"
        )

    def _outcome(self, method: str, path: str, body: bytes, kind: str) -> Outcome:
        record = self._reached(method, path, body, kind)
        return Outcome(record["out"], record["code"], record["err"])

    def _told(self, path: str, body: bytes) -> dict[str, Any]:
        return self._reached("POST", path, body, "application/json")

    def _reached(self, method: str, path: str, body: bytes, kind: str) -> dict[str, Any]:
        try:
            return self._ask(method, path, body, kind, PATIENCE_S)
        except (OSError, http.client.HTTPException) as error:
            raise HandoverFailed(f"the service at {self.address} went away ({error}): try again") from None


def leave_note(folder: Path, running: Running) -> None:
    """Write the note, readable by its owner only."""
    path = folder / NOTE
    path.parent.mkdir(parents=True, exist_ok=True)
    path.unlink(missing_ok=True)
    record = {"pid": running.pid, "port": running.port, "token": running.token}
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
        json.dump(record, file)


def drop_note(folder: Path) -> None:
    """Remove the note when the service ends."""
    (folder / NOTE).unlink(missing_ok=True)


def find(folder: Path) -> Running | None:
    """The service that owns a shop folder right now, or None."""
    try:
        record = json.loads((folder / NOTE).read_text(encoding="utf-8"))
        running = Running(int(record["pid"]), int(record["port"]), str(record["token"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return running if running.answers() else None
