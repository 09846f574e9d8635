"""Before and after: steps, trends, comparisons, and what a service did or would save."""
