"""Stored states and signals as JSON, exact to the last bit."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from datetime import datetime
from functools import cache, lru_cache
from typing import Any, get_args, get_type_hints
from zoneinfo import ZoneInfo

from pydantic import ConfigDict, TypeAdapter

from ingest.answers.processes import SignalFact
from ingest.assessing.assessment import ProcessState

_EXACT = ConfigDict(ser_json_inf_nan="constants")
for _record in (ProcessState, SignalFact):
    _record.__pydantic_config__ = _EXACT  # type: ignore[attr-defined]

_STATE = TypeAdapter(ProcessState)
_SIGNAL = TypeAdapter(SignalFact)


def state_json(state: ProcessState) -> str:
    """A state as text."""
    return _STATE.dump_json(state).decode()


@lru_cache(maxsize=1024)
def state_from(text: str, zone: ZoneInfo) -> ProcessState:
    """The state a text stands for; equal to the one written, its times in the shop's zone again.

    Remembered: a change touches a few processes, and the list reads the states of all.
    """
    return _in_zone(_STATE.validate_json(text), zone)


def signal_json(signal: SignalFact) -> str:
    """A signal as text."""
    return _SIGNAL.dump_json(signal).decode()


def signal_from(text: str, zone: ZoneInfo) -> SignalFact:
    """The signal a text stands for; equal to the one written, its times in the shop's zone again."""
    return _in_zone(_SIGNAL.validate_json(text), zone)


def _in_zone(value: Any, zone: ZoneInfo) -> Any:
    """Text keeps only the offset of a time; give every time in a record its zone back."""
    if isinstance(value, datetime):
        return value.astimezone(zone)
    if isinstance(value, tuple):
        return tuple(_in_zone(v, zone) for v in value)
    names = _with_times(type(value))
    if not names:
        return value
    return replace(value, **{name: _in_zone(getattr(value, name), zone) for name in names})


@cache
def _with_times(kind: Any) -> tuple[str, ...]:
    """Fields of a record that hold times, or records or tuples of records that do; none for what is no record."""
    if not (isinstance(kind, type) and is_dataclass(kind)):
        return ()
    hints = get_type_hints(kind)
    return tuple(f.name for f in fields(kind) if _holds_times(hints[f.name]))


def _holds_times(hint: Any) -> bool:
    return hint is datetime or bool(_with_times(hint)) or any(map(_holds_times, get_args(hint)))
