"""Assessment of one process: one model, one score per part, and the monitors that watch the scores."""

from __future__ import annotations

from spc.process import (
    Assessment,
    Closing,
    Cure,
    Monitor,
    ProcessData,
    ProcessOptions,
    Signal,
)

__all__ = ["Assessment", "Closing", "Cure", "Monitor", "ProcessData", "ProcessOptions", "Signal"]
