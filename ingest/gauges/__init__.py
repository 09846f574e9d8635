"""Gauges as processes: checks, audits, studies, doubt, suspects, conformity."""
