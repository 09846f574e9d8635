"""Formulas broken on purpose, to see that tests notice. Run with `python -m tests.mutation`."""
