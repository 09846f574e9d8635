"""The case for a service: parts before and after, counts, costs."""
