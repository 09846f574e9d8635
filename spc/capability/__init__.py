"""Capability and performance indices, shapes, intervals, shares out of tolerance, months against one another."""
