"""``python -m dashboard`` is the command ``tenthwise``."""

from dashboard.cli import main

main()
