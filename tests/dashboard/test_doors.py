"""Who may come in, and what the doors for writing do: hosts, origins, tokens, sizes, mistakes."""

from __future__ import annotations

import io
from datetime import UTC, datetime

import pytest
from flask.testing import FlaskClient

from dashboard.desk import Desk
from dashboard.security import BODY_LIMIT
from dashboard.serving.web import create_app
from tests.dashboard.paper_shop import NOW, PaperShop

PORT, TOKEN = 8400, "a-token"
HOME = f"http://127.0.0.1:{PORT}"
OWN = {"Origin": HOME}
FOREIGN = {"Origin": "http://evil.example"}


@pytest.fixture
def client(shop: PaperShop) -> FlaskClient:
    app = create_app(Desk(shop), port=PORT, token=TOKEN)  # type: ignore[arg-type]
    return app.server.test_client()


def post(
    client: FlaskClient, act: str, form: object, headers: dict[str, str] | None = None
) -> tuple[int, dict]:
    answer = client.post(f"/do/{act}", json=form, base_url=HOME, headers=OWN if headers is None else headers)
    return answer.status_code, answer.get_json(silent=True) or {}


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:8400", "127.0.0.1", "127.0.0.1:81", "0.0.0.0:8400"]
)
def test_a_foreign_host_is_refused(client: FlaskClient, host: str) -> None:
    assert client.get("/", headers={"Host": host}).status_code == 400


@pytest.mark.parametrize("host", [f"127.0.0.1:{PORT}", f"localhost:{PORT}"])
def test_its_own_hosts_are_served(client: FlaskClient, host: str) -> None:
    assert client.get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        FOREIGN,
        {"Origin": "null"},
        {"Origin": "https://127.0.0.1:8400"},
        OWN | {"Sec-Fetch-Site": "cross-site"},
        {},
    ],
    ids=["foreign", "null", "other scheme", "cross-site", "none"],
)
def test_nothing_is_changed_for_another_origin(
    client: FlaskClient, shop: PaperShop, headers: dict[str, str]
) -> None:
    status, _ = post(client, "note_event", {"target": "HONE", "kind": "service", "who": "AB"}, headers)
    assert status == 403
    assert shop.done == []


def test_a_foreign_page_cannot_ask_for_a_chart(client: FlaskClient) -> None:
    answer = client.post("/_dash-update-component", json={}, base_url=HOME, headers=FOREIGN)
    assert answer.status_code == 403


def test_nothing_is_changed_by_looking(client: FlaskClient, shop: PaperShop) -> None:
    for act in ("note_event", "undo", "close_signal", "set_part_aside", "restore_part", "take_in"):
        client.get(f"/do/{act}", base_url=HOME, headers=OWN)  # falls through to the page, never to the door
    assert shop.done == []


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data"])
def test_only_json_is_taken_as_an_action(client: FlaskClient, shop: PaperShop, kind: str) -> None:
    answer = client.post(
        "/do/undo", data='{"line": 3, "who": "AB"}', content_type=kind, base_url=HOME, headers=OWN
    )
    assert answer.status_code == 415
    assert shop.done == []


@pytest.mark.parametrize("path", ["/hand/hello", "/hand/status"])
@pytest.mark.parametrize("given", [None, "", "Bearer", "Bearer wrong", "Bearer é"])
def test_handing_over_needs_the_token(client: FlaskClient, path: str, given: str | None) -> None:
    headers = {} if given is None else {"Authorization": given}
    assert client.get(path, base_url=HOME, headers=headers).status_code == 403


def test_with_the_token_the_service_answers(client: FlaskClient) -> None:
    answer = client.get("/hand/hello", base_url=HOME, headers={"Authorization": f"Bearer {TOKEN}"})
    assert answer.get_json() == {"shop": "Paper shop"}


@pytest.mark.parametrize("path", ["/", "/healthz", "/_dash-layout", "/nowhere", "/do/undo"])
def test_every_answer_carries_the_guards(client: FlaskClient, path: str) -> None:
    headers = client.get(path, base_url=HOME).headers
    policy = headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy and "frame-ancestors 'none'" in policy
    script = next(part for part in policy.split("; ") if part.startswith("script-src"))
    assert "unsafe" not in script
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "no-referrer"
    assert "Server" not in headers or "waitress" not in headers["Server"].lower()


def test_more_than_the_limit_is_refused_in_words(client: FlaskClient, shop: PaperShop) -> None:
    kind = "multipart/form-data; boundary=x"
    big = b"x" * (BODY_LIMIT + 1)
    answer = client.post("/do/take_in", data=big, content_type=kind, base_url=HOME, headers=OWN)
    assert answer.status_code == 413
    assert "64 MB" in answer.get_json()["wrong"]
    assert shop.done == []


def test_an_event_is_noted_now_or_dated_back(client: FlaskClient, shop: PaperShop) -> None:
    form = {"target": "HONE", "kind": "stones_dress", "who": "AB"}
    status, told = post(client, "note_event", form)
    assert (status, told["undo"]) == (200, 41)
    assert "stones dressed" in told["said"]
    post(client, "note_event", form | {"when": "2026-03-09T08:30", "tool": "set 9", "note": "glazed"})
    back = datetime(2026, 3, 9, 8, 30, tzinfo=UTC)
    assert shop.done == [
        ("note_event", "HONE", "stones_dress", NOW, "AB", None, ""),
        ("note_event", "HONE", "stones_dress", back, "AB", "set 9", "glazed"),
    ]


def test_the_other_doors_pass_on_what_was_said(client: FlaskClient, shop: PaperShop) -> None:
    signal = {
        "process": "p",
        "monitor": "level",
        "serial": "S1",
        "pass_no": "2",
        "outcome": "fixed",
        "cause": "slide",
    }
    assert post(client, "close_signal", signal | {"who": "CD"})[1]["undo"] == 43
    assert post(client, "undo", {"line": "41", "who": "AB"})[0] == 200
    aside = {"process": "p", "part": "S-1/2", "reason": "dropped", "who": "AB"}
    assert post(client, "set_part_aside", aside)[0] == 200
    assert post(client, "restore_part", aside)[0] == 200
    row = {"receipt": "3", "line": "7", "col": "Ra", "use": "no", "reason": "chip on the stylus", "who": "CD"}
    assert post(client, "judge_rows", row)[1]["undo"] == 46
    only = {"lines": [7], "kind": None, "col": "Ra", "everything": False}
    assert shop.done[4] == ("judge_rows", (3, False, "chip on the stylus", "CD"), only)
    anew = {"receipt": "3", "line": "7", "text": "S1,2.5", "reason": "smudged", "who": "CD"}
    assert post(client, "fix_row", anew)[1]["undo"] == 47
    assert shop.done[5] == ("fix_row", 3, 7, "S1,2.5", "smudged", "CD")
    right = {"receipt": "3", "line": "", "field": "serial", "to": "S2", "reason": "tag", "who": "CD"}
    assert post(client, "correct_rows", right)[1]["undo"] == 48
    assert shop.done[6] == ("correct_rows", (3, "serial", "S2", "tag", "CD"), {"lines": None, "col": None})
    assert [done[0] for done in shop.done[:4]] == ["close_signal", "undo", "set_part_aside", "restore_part"]
    assert shop.done[0][1:] == ("p", "level", "S1", 2, "fixed", "slide", "CD")
    assert shop.done[1][1:3] == (41, "AB")
    assert shop.done[2][1:] == ("p", "S-1", 2, "dropped", "AB")


@pytest.mark.parametrize(
    ("act", "form", "told"),
    [
        ("note_event", {"target": "HONE", "kind": "service"}, "Who you are is missing"),
        ("note_event", {"target": "HONE", "who": "AB"}, "What was done is missing"),
        ("note_event", {"target": "HONE", "kind": "service", "who": "ZZ"}, "not among the plan's people: AB, CD"),
        ("note_event", {"target": "HONE", "kind": "service", "who": "AB", "when": "soon"}, "not a date and time"),
        ("note_event", {"target": "HONE", "kind": "service", "who": "AB", "note": "x" * 1001}, "longer than"),
        ("undo", {"line": "-1", "who": "AB"}, "must be a whole number"),
        ("undo", {"line": "٣", "who": "AB"}, "must be a whole number"),
        ("close_signal", {"process": "p", "monitor": "level", "serial": "S", "pass_no": "1", "outcome": "so what",
                          "cause": "c", "who": "AB"}, "none of the three"),
        ("set_part_aside", {"part": "S1/x", "reason": "r", "who": "AB"}, "not a serial and a pass"),
        ("set_part_aside", {"part": "S1/1", "who": "AB"}, "The reason is missing"),
    ],
)  # fmt: skip
def test_a_mistake_is_told_and_changes_nothing(
    client: FlaskClient, shop: PaperShop, act: str, form: dict[str, str], told: str
) -> None:
    status, answer = post(client, act, form)
    assert status == 400
    assert told in answer["wrong"]
    assert shop.done == []


def test_an_unknown_action_is_told(client: FlaskClient) -> None:
    assert post(client, "format_disk", {})[0] == 404


def test_dropped_files_are_taken_in_by_name_only(client: FlaskClient, shop: PaperShop) -> None:
    files = {"file": [(io.BytesIO(b"a"), "../../etc/x.csv"), (io.BytesIO(b"b"), "y.csv")]}
    answer = client.post("/do/take_in", data=files, base_url=HOME, headers=OWN)
    assert answer.status_code == 200
    assert shop.done == [("take_in", ["../../etc/x.csv", "y.csv"])]
    assert "2 of 3 lines stored, 1 blank or heading" in answer.get_json()["said"]


def test_no_file_is_told(client: FlaskClient) -> None:
    answer = client.post("/do/take_in", data={}, base_url=HOME, headers=OWN)
    assert answer.status_code == 400


def test_a_change_makes_the_pages_ask_again(shop: PaperShop) -> None:
    desk = Desk(shop)  # type: ignore[arg-type]
    desk.board()
    desk.board()
    assert len(shop.asked) == 1, "remembered while nothing changed"
    desk.write(lambda _shop: None)
    desk.board()
    assert len(shop.asked) == 2
