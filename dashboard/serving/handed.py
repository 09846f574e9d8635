"""Commands of this machine hand their work to the running service through these doors, with its token."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

from flask import Flask, request

from dashboard.desk import Desk
from dashboard.work import layout_help
from dashboard.work import reports as report_commands
from dashboard.work import rows as row_work
from dashboard.work import shop_work as commands
from dashboard.work.backtest import backtest
from ingest.intake.receipt import IncomingFile


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

    @server.post("/hand/month")
    def hand_month() -> dict[str, Any]:
        return report_commands.month(desk.shop, request.get_json()).as_record()

    @server.post("/hand/service_case")
    def hand_service_case() -> dict[str, Any]:
        return report_commands.service_case(desk.shop, request.get_json()).as_record()

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
