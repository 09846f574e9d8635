"""Speed as ratios within one run: `python -m tests.benchmarks` prints them; nothing is asserted on a clock."""

from importlib import import_module
from types import ModuleType

SUBJECTS = ("start", "intake", "assessment", "history", "callbacks", "screen", "statistics")


def subject(name: str) -> ModuleType:
    """The module of a subject; its ``main`` prints its lines."""
    return import_module(f"tests.benchmarks.{name}")
