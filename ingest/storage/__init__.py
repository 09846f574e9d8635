"""What must survive: archive, journal, plans, database, lock."""
