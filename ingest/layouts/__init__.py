"""From the bytes of a file to rows and cells, by the layouts the plan declares."""
