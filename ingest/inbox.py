"""The inbox folder: files are taken in once nobody writes to them any more."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path

from ingest.durable import write_new
from ingest.receipt import IncomingFile

_PASSED_OVER = (".tmp", ".part", ".partial", ".crdownload", "~")


class Inbox:
    """Looks at a folder again and again.

    Parameters
    ----------
    folder : Path
        Where files are dropped.
    heartbeat : Path
        File that says when the folder was last looked at.
    """

    def __init__(self, folder: Path, heartbeat: Path) -> None:
        self._folder = folder
        self._heartbeat = heartbeat
        self._seen: dict[str, tuple[int, int]] = {}

    def settled(self, now: datetime) -> list[tuple[Path, IncomingFile]]:
        """Files whose size and time of change are the same as at the look before, with their bytes.

        Hidden files and the usual names of half-written ones are passed over. A file that cannot be read now
        is left for the next look.
        """
        looks: dict[str, tuple[int, int]] = {}
        found = []
        for path in sorted(self._folder.iterdir()):
            if path.name.startswith(".") or path.name.endswith(_PASSED_OVER) or not path.is_file():
                continue
            try:
                stat = path.stat()
                looks[path.name] = (stat.st_size, stat.st_mtime_ns)
                if self._seen.get(path.name) == looks[path.name]:
                    found.append((path, IncomingFile(path.name, path.read_bytes())))
            except OSError:
                looks.pop(path.name, None)
        self._seen = looks
        self._heartbeat.parent.mkdir(parents=True, exist_ok=True)
        write_new(self._heartbeat, json.dumps({"looked": now.isoformat()}).encode())
        return found

    def done(self, path: Path) -> None:
        """Remove a file that the archive holds now."""
        self._seen.pop(path.name, None)
        path.unlink(missing_ok=True)
