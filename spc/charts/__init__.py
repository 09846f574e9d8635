"""Control charts, run rules and their run lengths, for one process and for many."""
