"""Reads a demonstration shop's exports with pandas alone, without any code of the program."""

from __future__ import annotations

import csv
import tomllib
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import pandas as pd
import pytest

from sample_data import SEED, folder
from sample_data.make import make_shop

OTHER_SEEDS = (6, 8)
# Files that are wrong as a whole: read in inch, and with the sign turned round.
LEFT_OUT = {"2024-10-08": ("BG1", "BG2"), "2025-04-02": ("BG1", "BG2")}
MICRO = {"um": 1.0, "uin": 0.0254}


@dataclass(frozen=True)
class Exports:
    """All rows of one shop, one frame a subject; lengths in µm."""

    place: Path

    @cached_property
    def plan(self) -> dict:
        return tomllib.loads((self.place / "plan.toml").read_text(encoding="utf-8"))

    def nominal(self, feature: str) -> dict[str, float]:
        """Nominal by family. [mm]"""
        specs = [s for s in self.plan["specifications"] if s["feature"] == feature]
        return {family: float(s["nominal"].split()[0]) for s in specs for family in s["families"]}

    def limit(self, feature: str, side: str) -> dict[str, float]:
        """A limit by family. [µm]"""
        scale = {"um": 1.0, "mm": 1000.0}
        found = {}
        for spec in self.plan["specifications"]:
            if spec["feature"] == feature and side in spec:
                number, unit = spec[side].split()
                found |= {family: float(number) * scale[unit] for family in spec["families"]}
        return found

    def raw(self, *sources: str) -> pd.DataFrame:
        """Rows of all files of some sources, in order of file, as text."""
        rows = []
        for path in sorted((self.place / "exports").glob("*/*.csv")):
            day, source = path.stem[:10], path.stem[11:]
            if source not in sources or source in LEFT_OUT.get(day, ()):
                continue
            lines = path.read_text(encoding="utf-8").splitlines()
            unit = MICRO["um"]
            if source == "PF1":
                unit = MICRO[lines[1].removeprefix("unit: ")]
                lines = lines[2:]
            separator = ";" if source == "TP1" else ","
            rows += [
                row | {"source": source, "unit": unit} for row in csv.DictReader(lines, delimiter=separator)
            ]
        return pd.DataFrame(rows)

    @cached_property
    def jobs(self) -> pd.DataFrame:
        frame = self.raw("jobs")
        for column in ("started", "ended"):
            frame[column] = pd.to_datetime(frame[column])
        frame["pass"] = frame["pass"].astype(int)
        frame["cycle_min"] = pd.to_numeric(frame["cycle_min"])
        return frame.sort_values("started").reset_index(drop=True)

    @cached_property
    def events(self) -> pd.DataFrame:
        frame = self.raw("events")
        frame["when"] = pd.to_datetime(frame["when"])
        return frame

    def _with_job(self, frame: pd.DataFrame, when: pd.Series, operation: str) -> pd.DataFrame:
        """Adds the pass that had begun at the time of each reading; drops readings before any."""
        jobs = self.jobs[self.jobs["operation"] == operation]
        columns = ["block", "family", "machine", "pass", "started", "tool"]
        frame = frame.drop(columns=["tool", "family"], errors="ignore").assign(when=when).sort_values("when")
        joined = pd.merge_asof(
            frame, jobs[columns].sort_values("started"), left_on="when", right_on="started", by="block"
        )
        return joined.dropna(subset="started").reset_index(drop=True)

    @staticmethod
    def _numbers(text: pd.Series) -> pd.Series:
        """Cells as numbers; empty ones and the 999 of a gauge without a reading become NaN."""
        plain = text.str.replace(",", ".")
        return pd.to_numeric(plain.where(~plain.isin(["", "999"])))

    @cached_property
    def _bore(self) -> pd.DataFrame:
        frame = self.raw("BG1", "BG2", "MG1")
        frame["size"] = frame["set_mm"].astype(float) * 1000 + self._numbers(frame["dev_thou"]) * 25.4
        return frame.dropna(subset="size")

    @cached_property
    def mains(self) -> pd.DataFrame:
        """One row a reading, the latest of a position in a pass: main, dir, dev."""
        frame = self._bore[self._bore["place"].str.startswith("M")]
        frame = self._with_job(frame, pd.to_datetime(frame["stamp"]), "line_hone")
        frame["dev"] = frame["size"] - frame["family"].map(self.nominal("main_size")) * 1000
        frame["main"] = frame["place"].str[1:].astype(int)
        return frame.drop_duplicates(["block", "pass", "main", "dir"], keep="last")

    @cached_property
    def bores(self) -> pd.DataFrame:
        """Cylinder sizes: cylinder, depth, dir, dev, gauge."""
        frame = self._bore[self._bore["place"].str.startswith("C")]
        frame = self._with_job(frame, pd.to_datetime(frame["stamp"]), "finish_hone")
        frame["dev"] = frame["size"] - frame["family"].map(self.nominal("cyl_size")) * 1000
        frame["cylinder"], frame["depth"] = frame["place"].str[1].astype(int), frame["place"].str[2]
        return frame.drop_duplicates(["block", "pass", "cylinder", "depth", "dir"], keep="last")

    @cached_property
    def decks(self) -> pd.DataFrame:
        """Deck heights: deck, point, dev."""
        probe = self.raw("TP1")
        probe["height"] = self._numbers(probe["z_mm"]) * 1000
        probe["when"] = pd.to_datetime(probe["date"] + " " + probe["time"], format="%d.%m.%Y %H:%M:%S")
        hand = self.raw("HG1")
        hand["height"] = self._numbers(hand["height_in"]) * 25400
        hand["when"] = pd.to_datetime(hand["when"])
        frame = pd.concat([probe, hand]).dropna(subset="height")
        frame = self._with_job(frame, frame["when"], "deck")
        frame["dev"] = frame["height"] - frame["family"].map(self.nominal("deck_height")) * 1000
        return frame.drop_duplicates(["block", "pass", "deck", "point"], keep="last")

    def finish(self, operation: str) -> pd.DataFrame:
        """Finish of decks ('deck') or bores ('finish_hone'): site and the parameters in µm."""
        frame = self.raw("PF1")
        sites = frame["site"].str.startswith("C")
        frame = frame[sites if operation == "finish_hone" else ~sites].copy()
        for name in ("Ra", "Rz", "Rk", "Rpk", "Rvk"):
            frame[name] = self._numbers(frame[name]) * frame["unit"]
        frame = self._with_job(frame, pd.to_datetime(frame["when"]), operation)
        return frame.drop_duplicates(["block", "pass", "site"], keep="first")

    @cached_property
    def rings(self) -> pd.DataFrame:
        frame = self.raw("rings")
        frame["when"] = pd.to_datetime(frame["when"])
        frame["mean"] = 25.4 * (frame["read1_thou"].astype(float) + frame["read2_thou"].astype(float)) / 2
        return frame

    @cached_property
    def audits(self) -> pd.DataFrame:
        """Quality's sizes beside the reading of the same place: audit, dev, gauge of the reading."""
        frame = self.raw("audit")
        frame["audit"] = frame["size_mm"].astype(float) * 1000
        frame["cylinder"], frame["dir"] = frame["place"].str[1].astype(int), frame["place"].str[4]
        readings = self.bores[self.bores["depth"] == "M"].sort_values("pass")
        readings = readings.drop_duplicates(["block", "cylinder", "dir"], keep="last")
        joined = frame[["block", "cylinder", "dir", "audit"]].merge(readings, on=["block", "cylinder", "dir"])
        joined["difference"] = joined["audit"] - joined["size"]
        return joined

    def bores_before(self, machine: str) -> pd.DataFrame:
        """Every pass of a hone with the bores its tool had honed before, since it was fitted."""
        jobs = self.jobs[self.jobs["machine"] == machine].copy()
        cylinders = {
            family: len(entry["axes"]["cylinder"]) for family, entry in self.plan["families"].items()
        }
        jobs["bores"] = jobs["family"].map(cylinders)
        jobs["used"] = jobs.groupby("tool")["bores"].cumsum() - jobs["bores"]
        return jobs


@pytest.fixture(scope="session", params=[SEED, *OTHER_SEEDS], ids=lambda seed: f"seed{seed}")
def shop(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Exports:
    """The committed shop, and two more."""
    if request.param == SEED:
        return Exports(folder())
    place = tmp_path_factory.mktemp(f"shop{request.param}")
    make_shop(place, request.param)
    return Exports(place)
