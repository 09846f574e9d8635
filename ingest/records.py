"""Stored states and signals as JSON, exact to the last bit."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from pydantic import ConfigDict, TypeAdapter

from ingest.assessment import ProcessState
from ingest.board import SignalFact

_EXACT = ConfigDict(ser_json_inf_nan="constants")
for _record in (ProcessState, SignalFact):
    _record.__pydantic_config__ = _EXACT  # type: ignore[attr-defined]

_STATE = TypeAdapter(ProcessState)
_SIGNAL = TypeAdapter(SignalFact)


def state_json(state: ProcessState) -> str:
    """A state as text."""
    return _STATE.dump_json(state).decode()


def state_from(text: str, zone: ZoneInfo) -> ProcessState:
    """The state a text stands for; equal to the one written, its times in the shop's zone again."""
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
        return tuple(_in_zone(v, zone) for v in value) if value and not isinstance(value[0], float) else value
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{f.name: _in_zone(getattr(value, f.name), zone) for f in fields(value)})
    return value
