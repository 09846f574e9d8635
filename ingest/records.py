"""Stored states and signals as JSON, exact to the last bit."""

from __future__ import annotations

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


def state_from(text: str) -> ProcessState:
    """The state a text stands for; equal to the one written."""
    return _STATE.validate_json(text)


def signal_json(signal: SignalFact) -> str:
    """A signal as text."""
    return _SIGNAL.dump_json(signal).decode()


def signal_from(text: str) -> SignalFact:
    """The signal a text stands for; equal to the one written."""
    return _SIGNAL.validate_json(text)
