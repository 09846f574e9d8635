"""``python -m dashboard`` is the command ``tenthwise``."""

from dashboard.commands.cli import main

main()
