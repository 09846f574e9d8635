"""Cold start: a whole process from nothing to its first answered page, against one that imports everything first."""

import subprocess
import sys
from pathlib import Path

from tests.benchmarks.pairs import compare, show
from tests.benchmarks.shop import demo_folder

EAGER = "import statsmodels.api, scipy.stats, scipy.signal, pandas, duckdb, dash, plotly.graph_objects, plotly.express"
ANSWER = """
import json, os, sys, threading
from http.client import HTTPConnection
from pathlib import Path
from ingest.shop.shop import Shop
from dashboard.serving.service import Service

service = Service(Shop.open(Path(sys.argv[1])), 0).__enter__()
threading.Thread(target=service.run, daemon=True).start()
inputs = [
    {"id": "url", "property": "pathname", "value": "/"},
    {"id": "url", "property": "search", "value": ""},
    {"id": "told", "property": "data", "value": None},
]
output = "..page.children...page.data-title.."
outputs = [{"id": "page", "property": "children"}, {"id": "page", "property": "data-title"}]
asked = {"output": output, "outputs": outputs, "inputs": inputs, "changedPropIds": [], "state": []}
line = HTTPConnection("127.0.0.1", service.port)
line.request("POST", "/_dash-update-component", json.dumps(asked), {"Content-Type": "application/json"})
answer = line.getresponse()
told = answer.read()
assert answer.status == 200 and b"What is going off?" in told, (answer.status, told[:300])
os._exit(0)
"""


def run(code: str, *given: str) -> None:
    """A whole process."""
    subprocess.run([sys.executable, "-c", code, *given], check=True)


def main() -> None:
    """Print the ratios."""
    folder: Path = demo_folder()
    show(
        "start to first answered list / the same after all imports at once",
        compare(lambda: run(ANSWER, str(folder)), lambda: run(EAGER + ANSWER, str(folder)), pairs=3),
        0.5,
    )
    show(
        "start to first answered list / all imports at once and nothing else",
        compare(lambda: run(ANSWER, str(folder)), lambda: run(EAGER), pairs=3),
        0.5,
    )
    show(
        "imports of the command line / all imports at once",
        compare(lambda: run("import dashboard.commands.cli"), lambda: run(EAGER), pairs=3),
        0.5,
    )
