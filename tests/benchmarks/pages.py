"""The list at a tenth of the history and at all of it, and a chart as plain values against graph objects."""

import shutil
import tempfile
from itertools import groupby
from pathlib import Path

import sample_data
from dashboard.desk import Desk
from dashboard.figures.parts import part_chart
from dashboard.pages import board
from ingest.receipt import IncomingFile
from ingest.shop import Shop
from tests.benchmarks.pairs import compare, show


def grown(folder: Path, share: float) -> Shop:
    """A shop that was told the first share of the demonstration's deliveries."""
    deliveries = sample_data.deliveries()
    shop = Shop.create(
        folder, sample_data.plan_path().read_text(encoding="utf-8"), known_at=deliveries[0].known_at
    )
    shop.take_in_batches(
        [
            (known_at, [IncomingFile(d.name, d.path.read_bytes()) for d in group])
            for known_at, group in groupby(
                deliveries[: int(share * len(deliveries))], key=lambda delivery: delivery.known_at
            )
        ]
    )
    return shop


def main() -> None:
    """Print the ratios."""
    import plotly.graph_objects as go

    folder = Path(tempfile.mkdtemp())
    try:
        with grown(folder / "whole", 1.0) as whole, grown(folder / "tenth", 0.1) as tenth:
            show(
                "the list's rows, all history / a tenth of it",
                compare(whole.board, tenth.board, pairs=9),
                "<= 1.1",
            )
            show(
                "the list drawn, all history / a tenth of it",
                compare(lambda: board.draw(Desk(whole)), lambda: board.draw(Desk(tenth)), pairs=9),
                "<= 1.1",
            )
            view = whole.process(whole.board()[0].process)
            assert view is not None
            show(
                "a process's chart as plain values / graph objects of the same",
                compare(lambda: part_chart(view, {}), lambda: go.Figure(part_chart(view, {})), pairs=9),
                "<= 0.1 (callback)",
            )
    finally:
        shutil.rmtree(folder)
