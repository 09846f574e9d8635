"""Everything between a file and a clean table: plan, intake, archive, journal, store, assessment."""
