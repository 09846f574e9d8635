"""How many faults of each sort are tried: few by default, all with ``TENTHWISE_FAULTS=200``."""

import os

FAULTS = int(os.environ.get("TENTHWISE_FAULTS", "8"))
"""Faults of each sort in one run."""
