"""Makes another shop: ``python -m sample_data --seed 7 --folder elsewhere``."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from sample_data.make import make_shop
from sample_data.stories import STORIES


def main(arguments: list[str] | None = None) -> int:
    """Read the arguments, write the shop, say what was written."""
    parser = argparse.ArgumentParser(
        prog="python -m sample_data",
        description="Write plan, exports and list of deliveries of an invented shop.",
        epilog="stories: " + "; ".join(f"{name}: {text}" for name, text in STORIES.items()),
    )
    parser.add_argument(
        "--seed", type=int, required=True, help="0 or more; the same seed makes the same files"
    )
    parser.add_argument("--folder", type=Path, required=True, help="where to write; must hold no exports yet")
    parser.add_argument(
        "--without", action="append", default=[], choices=list(STORIES), metavar="STORY",
        help="leave a story out; may be given more than once",
    )  # fmt: skip
    given = parser.parse_args(arguments)
    try:
        made = make_shop(given.folder, given.seed, given.without)
    except (ValueError, OSError) as error:
        sys.stderr.write(f"{error}\n")
        return 2
    rows = sum(len(export.rows) for export in made)
    sys.stdout.write(f"{len(made)} files with {rows} rows in {given.folder}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
