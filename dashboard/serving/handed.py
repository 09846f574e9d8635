"""Commands of this machine hand their work to the running service through these doors, with its token."""

from __future__ import annotations

import secrets
from datetime import date
from pathlib import Path
from typing import Any

from flask import Flask, request

from dashboard.desk import Desk
from dashboard.long_work import Task
from dashboard.work import layout_help
from dashboard.work import reports as report_commands
from dashboard.work import rows as row_work
from dashboard.work import shop_work as commands
from dashboard.work.backtest import backtest
from ingest.intake.receipt import IncomingFile

LONG = {"month": report_commands.month, "service_case": report_commands.service_case}
"""Work that takes a while, by command."""
MOST_LONG = 4
"""Pieces of long work at a time; the oldest is stopped for another."""
LOOK_S = 0.5
"""How long a look waits for the end of the work before it tells how far it is."""


def register(server: Flask, desk: Desk) -> None:
    """Open the doors; `dashboard.security` checks the token before any of them is reached."""

    @server.post("/hand/ingest")
    def hand_ingest() -> dict[str, Any]:
        files = [IncomingFile(f.filename or "", f.stream.read()) for f in request.files.getlist("file")]
        return desk.write(lambda shop: commands.ingest(shop, files)).as_record()

    @server.post("/hand/ingest_large")
    def hand_ingest_large() -> dict[str, Any]:
        path = Path(request.get_json()["path"])
        return desk.write(lambda shop: commands.ingest_large(shop, path)).as_record()

    @server.get("/hand/status")
    def hand_status() -> dict[str, Any]:
        day = request.args.get("as_of")
        as_of = date.fromisoformat(day) if day else None
        return commands.status(desk.shop, as_of, json=request.args.get("json") == "1").as_record()

    @server.post("/hand/rebuild")
    def hand_rebuild() -> dict[str, Any]:
        told: list[commands.Outcome] = []

        def reopen(shop: Any) -> Any:
            folder = shop.folder
            shop.close()
            fresh = type(shop).rebuild(folder)
            told.append(commands.rebuilt(fresh))
            return fresh

        desk.swap(reopen)
        return told[0].as_record()

    @server.post("/hand/rows")
    def hand_rows() -> dict[str, Any]:
        asked = request.get_json()
        if asked["act"] == "list":
            return row_work.run(desk.shop, asked).as_record()
        return desk.write(lambda shop: row_work.run(shop, asked)).as_record()

    @server.post("/hand/backup")
    def hand_backup() -> dict[str, Any]:
        return commands.backup(desk.shop, Path(request.get_json()["to"])).as_record()

    @server.post("/hand/part")
    def hand_part() -> dict[str, Any]:
        return report_commands.part(desk.shop, request.get_json()).as_record()

    @server.post("/hand/backtest")
    def hand_backtest() -> dict[str, Any]:
        return backtest(desk.shop, json_wanted=request.args.get("json") == "1").as_record()

    @server.post("/hand/plan")
    def hand_plan() -> dict[str, Any]:
        text = str(request.get_json()["text"])
        return desk.write(lambda shop: layout_help.accept(shop, text)).as_record()

    @server.post("/hand/export")
    def hand_export() -> dict[str, Any]:
        return commands.export(desk.shop, Path(request.get_json()["to"])).as_record()

    @server.get("/hand/hello")
    def hand_hello() -> dict[str, Any]:
        return {"shop": desk.shop.plan.shop.name}

    _long_work(server, desk)


def _long_work(server: Flask, desk: Desk) -> None:
    """Doors for work that takes a while: begun, looked at, stopped."""
    tasks: dict[str, Task] = {}

    @server.post("/hand/begin")
    def hand_begin() -> dict[str, Any]:
        told = request.get_json()
        work, asked, name = LONG[told["command"]], told["asked"], secrets.token_hex(8)
        while len(tasks) >= MOST_LONG:
            tasks.pop(next(iter(tasks))).stopped = True
        tasks[name] = desk.work.ask(("handed", name), lambda step: work(desk.shop, asked, step))
        return {"work": name}

    @server.post("/hand/look")
    def hand_look() -> dict[str, Any]:
        name = request.get_json()["work"]
        task = tasks.get(name)
        if task is None:
            return _looked(0, 0, commands.Outcome("", 2, "The service does not know this work any more."))
        if not task.ended.wait(LOOK_S):
            return _looked(task.done, task.total, None)
        del tasks[name]
        stopped = commands.Outcome("", 130, "Stopped: nothing was written.")
        wrong = commands.Outcome("", 2, task.wrong or "")
        return _looked(task.done, task.total, task.result or (stopped if task.stopped else wrong))

    @server.post("/hand/stop")
    def hand_stop() -> dict[str, Any]:
        task = tasks.get(request.get_json()["work"])
        if task is not None:
            task.stopped = True
        return {}


def _looked(done: int, total: int, outcome: commands.Outcome | None) -> dict[str, Any]:
    return {"done": done, "total": total, "outcome": None if outcome is None else outcome.as_record()}
