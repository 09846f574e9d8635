"""Gauges: studies, masters, audits, temperature, and whether a part conforms given its reading."""
