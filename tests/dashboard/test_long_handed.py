"""Long work that a command hands to the service: it tells how far it is, and Ctrl+C stops it there."""

from __future__ import annotations

import json
import threading
from typing import Any

import pytest
from flask.testing import FlaskClient

from dashboard.desk import Desk
from dashboard.serving import handed
from dashboard.serving.running import Running
from dashboard.serving.web import create_app
from dashboard.work.shop_work import Outcome
from tests.dashboard.paper_shop import PaperShop

PORT, TOKEN = 8400, "a-token"
HOME = f"http://127.0.0.1:{PORT}"
PATIENCE = 20.0


class Through(Running):
    """Reaches the service without a socket, and lets the work go on once it was told to stop."""

    client: FlaskClient
    asked: list[str]
    go_on: threading.Event
    lets_go: bool

    def _ask(self, method: str, path: str, body: bytes, kind: str, patience: float) -> dict[str, Any]:
        del patience
        headers = {"Authorization": f"Bearer {self.token}", "Content-Type": kind}
        answer = self.client.open(path, method=method, data=body, headers=headers, base_url=HOME)
        assert answer.status_code == 200, path
        self.asked.append(path)
        if path == "/hand/stop" and self.lets_go:
            self.go_on.set()
        return json.loads(answer.data)


@pytest.fixture
def service(shop: PaperShop, monkeypatch: pytest.MonkeyPatch) -> Through:
    monkeypatch.setattr(handed, "LOOK_S", 0.0)
    app = create_app(Desk(shop), port=PORT, token=TOKEN)  # type: ignore[arg-type]
    through = Through(1, PORT, TOKEN)
    object.__setattr__(through, "client", app.server.test_client())
    object.__setattr__(through, "asked", [])
    object.__setattr__(through, "go_on", threading.Event())
    object.__setattr__(through, "lets_go", True)
    return through


def give(monkeypatch: pytest.MonkeyPatch, service: Through, written: list[str]) -> None:
    """A month that stands still at 3 of 10 until it may go on, and writes at the end."""

    def slow(_shop: object, asked: dict[str, Any], step: Any) -> Outcome:
        step(3, 10)
        assert service.go_on.wait(PATIENCE)
        step(4, 10)
        written.append(asked["month"])
        return Outcome("written", 0)

    monkeypatch.setitem(handed.LONG, "month", slow)


def test_a_command_sees_how_far_the_work_is_and_gets_its_outcome(service, monkeypatch):
    written: list[str] = []
    give(monkeypatch, service, written)
    seen: list[tuple[int, int]] = []

    def step(done: int, total: int) -> None:
        seen.append((done, total))
        if done == 3:
            service.go_on.set()

    outcome = service.long_asked("month", {"month": "2031-12"}, step)
    assert (outcome.out, outcome.code) == ("written", 0)
    assert (3, 10) in seen
    assert written == ["2031-12"]


def test_a_command_that_is_stopped_stops_the_work_and_nothing_is_written(service, monkeypatch):
    written: list[str] = []
    give(monkeypatch, service, written)

    def step(done: int, total: int) -> None:
        del total
        if done == 3 and "/hand/stop" not in service.asked:
            raise KeyboardInterrupt

    outcome = service.long_asked("month", {"month": "2031-12"}, step)
    assert outcome.code == 130
    assert "nothing was written" in outcome.err
    assert written == []


def test_work_that_ended_before_it_could_be_stopped_is_told_as_it_ended(service, monkeypatch):
    def quick(_shop: object, _asked: dict[str, Any], step: Any) -> Outcome:
        step(9, 10)
        assert service.go_on.wait(PATIENCE)
        return Outcome("written", 0)

    monkeypatch.setitem(handed.LONG, "month", quick)

    def step(done: int, total: int) -> None:
        del total
        if done == 9 and "/hand/stop" not in service.asked:
            raise KeyboardInterrupt

    assert service.long_asked("month", {"month": "2031-12"}, step).out == "written"


def test_a_second_interrupt_ends_the_command_at_once(service, monkeypatch):
    give(monkeypatch, service, [])

    def step(done: int, total: int) -> None:
        del done, total
        raise KeyboardInterrupt

    object.__setattr__(service, "lets_go", False)  # the work hangs
    with pytest.raises(KeyboardInterrupt):
        service.long_asked("month", {"month": "2031-12"}, step)
    assert "/hand/stop" in service.asked
    service.go_on.set()


def test_what_goes_wrong_in_the_work_is_said(service, monkeypatch):
    def wrong(_shop: object, _asked: dict[str, Any], _step: Any) -> Outcome:
        raise ValueError("The plan has no such machine.")

    monkeypatch.setitem(handed.LONG, "month", wrong)
    outcome = service.long_asked("month", {}, lambda _done, _total: None)
    assert (outcome.code, outcome.err) == (2, "The plan has no such machine.")


def test_work_that_the_service_forgot_is_said(service):
    told = service._told("/hand/look", json.dumps({"work": "gone"}).encode())
    assert told["outcome"]["code"] == 2
    assert "does not know" in told["outcome"]["err"]
