"""Everything a person touches: pages, reports and the command line."""
