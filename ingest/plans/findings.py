"""What a check of a plan finds: one thing wrong, the place where it stands, the remedy."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ingest.plans.lines import Path


@dataclass(frozen=True)
class Finding:
    """One thing wrong in a plan, at a path of keys and list indexes."""

    path: Path
    reason: str
    remedy: str


def listed(names: Iterable[str]) -> str:
    """Names for a message: sorted, and a word when there is none."""
    return ", ".join(sorted(names)) or "none is declared"
