"""Every plan a shop ever accepted, by the hash of its text."""

from __future__ import annotations

import hashlib
from pathlib import Path

from ingest.plans.file import parse_plan
from ingest.plans.model import Plan
from ingest.storage.archive import ArchiveError
from ingest.storage.durable import fsync_folder, write_new


class PlanShelf:
    """The folder of accepted plans.

    Parameters
    ----------
    folder : Path
        Made if it does not exist.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        self._read: dict[str, Plan] = {}

    def keep(self, plan: Plan) -> None:
        """Keep the text of a plan; returns when it is on the disk."""
        self._read[plan.sha256] = plan
        path = self.folder / f"{plan.sha256}.toml"
        if not path.exists():
            write_new(path, plan.text.encode())
            fsync_folder(self.folder)

    def plan(self, sha256: str) -> Plan:
        """The plan with this hash.

        Raises
        ------
        ArchiveError
            It is not on the shelf, or not as it was accepted.
        """
        if sha256 not in self._read:
            path = self.folder / f"{sha256}.toml"
            data = path.read_bytes() if path.exists() else b""
            if hashlib.sha256(data).hexdigest() != sha256:
                raise ArchiveError(
                    f"The plan {path.name} in {self.folder} is missing or not as it was accepted: "
                    "restore that file from a backup."
                )
            self._read[sha256] = parse_plan(data.decode(), "plan.toml")
        return self._read[sha256]
