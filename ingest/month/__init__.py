"""The month: its lines, signals and the five things to act on."""
