"""Cold start: a command's help and an opened shop's imports against importing everything at once."""

import subprocess
import sys

from tests.benchmarks.pairs import compare, show

EAGER = "import statsmodels.api, scipy.stats, scipy.signal, pandas, duckdb, dash, plotly.graph_objects, plotly.express"


def run(code: str) -> None:
    """A whole process."""
    subprocess.run([sys.executable, "-c", code], check=True)


def main() -> None:
    """Print the ratios; processor time here is this process's own and means nothing."""
    show(
        "imports of the service / all imports at once",
        compare(lambda: run("import ingest.shop, dashboard.service"), lambda: run(EAGER), pairs=3),
        "<= 0.5",
    )
    show(
        "imports of the command line / all imports at once",
        compare(lambda: run("import dashboard.cli"), lambda: run(EAGER), pairs=3),
        "<= 0.5",
    )
