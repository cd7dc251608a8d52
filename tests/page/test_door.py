"""Locked doors: whoever does not belong to the run stays outside, whatever is tried."""

from __future__ import annotations

import json
import socket
import struct
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from huehold.notebook import Notebook
from huehold.page.app import STATIC, make_app
from huehold.page.desk import Desk
from huehold.page.door import COOKIE, Keys, own_hosts
from tests.page.story import begin_watch, jpeg, picture_at, pushed_source, served

HOST = "127.0.0.1:8321"
OURS = f"http://{HOST}"
WS = f"ws://{HOST}"
DESK_ROUTES = [
    ("GET", "/"), ("GET", "/static/desk.js"), ("GET", "/api/masses"), ("GET", "/api/runs"),
    ("GET", "/api/picture"), ("POST", "/api/masses"), ("PUT", "/api/inputs"),
    ("PUT", "/api/vessel"), ("DELETE", "/api/white"), ("PUT", "/api/pause"),
    ("POST", "/api/notes"), ("POST", "/api/finish"), ("POST", "/api/run"), ("POST", "/api/phone"),
    ("DELETE", "/api/runs/1"), ("GET", "/api/runs/1/file.json"),
]  # fmt: skip


class Clock:
    now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def keys(clock: Clock) -> Keys:
    return Keys(clock)


@pytest.fixture
def desk(tmp_path: Path):
    with Notebook(tmp_path / "notebook.sqlite3") as notebook:
        desk = Desk(lambda: begin_watch(notebook, pushed_source()), notebook)
        yield desk
        desk.close()


@pytest.fixture
def app(desk: Desk, keys: Keys):
    return make_app(desk, keys, own_hosts(["127.0.0.1", "localhost"], 8321))


@pytest.fixture
def stranger(app):
    with TestClient(app, base_url=OURS, follow_redirects=False) as client:
        yield client


def enter(client: TestClient, keys: Keys, role: str) -> TestClient:
    answer = client.post("/enter", json={"token": keys.new_token(role)})
    assert answer.status_code == 200, answer.text
    return client


@pytest.fixture
def page(app, keys):
    with TestClient(app, base_url=OURS, follow_redirects=False) as client:
        yield enter(client, keys, "desk")


@pytest.fixture
def phone(app, keys):
    with TestClient(app, base_url=OURS, follow_redirects=False) as client:
        yield enter(client, keys, "phone")


def refused(client: TestClient, path: str, origin: str | None) -> WebSocketDisconnect:
    headers = {"origin": origin} if origin else {}
    with (
        pytest.raises(WebSocketDisconnect) as caught,
        client.websocket_connect(WS + path, headers=headers),
    ):
        pass
    return caught.value


# -- tokens ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("method", "path"), DESK_ROUTES)
def test_without_a_key_nothing_is_had(stranger, method, path):
    answer = stranger.request(method, path)
    if path == "/":
        assert (answer.status_code, answer.headers["location"]) == (303, "/enter")
    else:
        assert answer.status_code == 403
        assert "key" in answer.json()["error"]


@pytest.mark.parametrize("path", ["/live", "/frames"])
def test_no_live_connection_without_a_key(stranger, path):
    assert refused(stranger, path, OURS).code == 4403


@pytest.mark.parametrize("token", ["", "x", "A" * 32, "../../etc/passwd", "ä" * 20])
def test_wrong_token(stranger, token):
    answer = stranger.post("/enter", json={"token": token})
    assert answer.status_code == 403
    assert COOKIE not in answer.cookies


@pytest.mark.parametrize("cookie", ["", "x" * 32, "a b;c", '"', "=;=;"])
def test_made_up_cookie(stranger, cookie):
    headers = {"cookie": f"{COOKIE}={cookie}"}
    assert stranger.get("/api/runs", headers=headers).status_code == 403


def test_a_phones_token_works_once_and_for_a_quarter_of_an_hour(stranger, keys, clock):
    used, late = keys.new_token("phone"), keys.new_token("phone")
    assert stranger.post("/enter", json={"token": used}).json() == {"to": "/phone"}
    assert stranger.post("/enter", json={"token": used}).status_code == 403
    clock.now += 901
    assert stranger.post("/enter", json={"token": late}).status_code == 403


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(stranger, keys):
    answer = stranger.post("/enter", json={"token": keys.new_token("desk")})
    said = answer.headers["set-cookie"].lower()
    assert "httponly" in said
    assert "samesite=strict" in said
    assert "secure" not in said


def test_over_https_the_cookie_is_secure(app, keys):
    with TestClient(app, base_url=f"https://{HOST}") as client:
        answer = client.post("/enter", json={"token": keys.new_token("desk")})
        assert "secure" in answer.headers["set-cookie"].lower()


def test_old_cookies_are_forgotten_at_last(keys):
    first = keys.exchange(keys.new_token("desk"))[0]
    assert keys.role_of(first) == "desk"
    for _ in range(64):
        keys.exchange(keys.new_token("desk"))
    assert keys.role_of(first) is None


@pytest.mark.parametrize(("method", "path"), DESK_ROUTES)
def test_a_phone_gets_none_of_the_desks_routes(phone, method, path):
    assert phone.request(method, path).status_code == 403


def test_a_phone_says_what_it_locked(phone, desk):
    assert phone.put("/locks", json={"locks": {"white balance": "locked"}}).status_code == 204
    assert desk.watch.source.locks == {"white balance": "locked"}


def test_a_phone_gets_what_it_needs(phone):
    assert phone.get("/phone").status_code == 200
    assert phone.get("/static/camera.js").status_code == 200
    with phone.websocket_connect(WS + "/live?pictures=0", headers={"origin": OURS}) as live:
        told = live.receive_json()
    assert told["type"] == "hello"
    assert set(told) <= {"type", "cues", "moment", "finished"}  # no masses, no notes, no trace


# -- hosts and origins ------------------------------------------------------------------------


@pytest.mark.parametrize(
    "host",
    ["evil.example", "evil.example:8321", "127.0.0.1", "127.0.0.1:1", "", f"{HOST}.evil.example"],
)  # fmt: skip
def test_foreign_host(page, host):
    """A name that an attacker makes resolve to this machine (DNS rebinding) stays foreign."""
    answer = page.get("/api/runs", headers={"host": host})
    assert answer.status_code == 421
    with pytest.raises(WebSocketDisconnect):
        page.websocket_connect(
            "/live", headers={"host": host, "origin": f"http://{host}"}
        ).__enter__()


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "https://127.0.0.1:8321", "http://127.0.0.1", "http://localhost:8321"]
)  # fmt: skip
def test_foreign_origin(page, origin):
    answer = page.post("/api/notes", json={"text": "x"}, headers={"origin": origin})
    assert answer.status_code == 403
    assert "another site" in answer.json()["error"]
    for path in ("/live", "/frames"):
        assert refused(page, path, origin).code == 4403


def test_a_live_connection_without_an_origin_is_refused(page):
    assert "from the page" in refused(page, "/live", None).reason


def test_a_form_of_another_site_without_an_origin(page):
    headers = {"sec-fetch-site": "cross-site"}
    assert page.post("/api/notes", json={"text": "x"}, headers=headers).status_code == 403
    headers = {"sec-fetch-site": "same-origin"}
    assert page.post("/api/notes", json={"text": "x"}, headers=headers).status_code == 201


# -- sizes and rates --------------------------------------------------------------------------


def test_oversize_body_stated_or_not(page, desk):
    assert page.post("/api/notes", content=b"x" * 70_000).status_code == 413
    chunks = (b"x" * 8192 for _ in range(20))
    assert page.post("/api/notes", content=chunks).status_code == 413
    headers = {"content-length": "-1"}
    assert page.post("/api/notes", content=b"{}", headers=headers).status_code == 413
    assert desk.notebook.notes(desk.watch.run_id) == ()


def test_oversize_picture(page):
    answer = page.post("/frame?stamp_s=1", content=b"\xff\xd8" + b"x" * (2 << 20))
    assert answer.status_code == 413
    with page.websocket_connect(WS + "/frames", headers={"origin": OURS}) as frames:
        frames.send_bytes(b"x" * ((2 << 20) + 9))
        with pytest.raises(WebSocketDisconnect) as caught:
            frames.receive_json()
    assert caught.value.code == 1009


def test_decompression_bomb(page, desk):
    """A small file that says it is 65,500 pixels square would fill 13 GB."""
    bomb = bytearray(jpeg(picture_at(0.0, 320)))
    place = bomb.index(b"\xff\xc0")
    bomb[place + 5 : place + 9] = struct.pack(">HH", 65500, 65500)
    answer = page.post("/frame?stamp_s=1", content=bytes(bomb))
    assert answer.json()["taken"] is False
    assert desk.watch.source.frames_seen == 0


def test_rates(stranger, keys, app):
    stati = [stranger.post("/enter", json={"token": "guess"}).status_code for _ in range(12)]
    assert stati[:8] == [403] * 8
    assert 429 in stati[8:]


def test_a_bucket_fills_again():
    from huehold.page.door import _Bucket

    bucket = _Bucket(2.0, 3, 0.0)
    assert [bucket.take(0.0) for _ in range(4)] == [True, True, True, False]
    assert bucket.take(0.6)
    assert not bucket.take(0.7)


# -- malformed --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "body",
    [
        b"", b"{", b"[]", b"null", b'{"text": 5}', b'{"text": ""}', b'{"text": "1", "more": 1}',
        b"\xff\xfe{}", b"[" * 5000,
    ],
)  # fmt: skip
def test_malformed_json(page, body):
    answer = page.post("/api/masses", content=body)
    assert answer.status_code == 422
    assert answer.json()["error"].endswith(".")
    assert "Traceback" not in answer.text


@pytest.mark.parametrize("number", ["NaN", "Infinity", "1e999", '"x"', "-3"])
def test_senseless_outline(page, number):
    text = f'{{"x_px": 1, "y_px": 1, "semi_major_px": {number}, "semi_minor_px": 2}}'
    assert page.put("/api/vessel", content=text).status_code == 422


@pytest.mark.parametrize("stamp", ["", "x", "nan", "inf", "1e300"])
def test_senseless_stamp(page, desk, stamp):
    answer = page.post(f"/frame?stamp_s={stamp}", content=jpeg(picture_at(0.0, 320)))
    assert answer.status_code == 422 or answer.json()["taken"] is False
    assert desk.watch.source.frames_seen == 0


@pytest.mark.parametrize("data", [b"", b"1234567", b"x" * 9, b"\0" * 500])
def test_malformed_frames_hurt_nobody(page, desk, data):
    with page.websocket_connect(WS + "/frames", headers={"origin": OURS}) as frames:
        frames.send_bytes(data)
        told = frames.receive()
    assert told.get("code") in (1003, 1009) or json.loads(told["text"])["taken"] is False
    assert desk.watch.source.frames_seen == 0


def test_text_where_pictures_go(page):
    with page.websocket_connect(WS + "/frames", headers={"origin": OURS}) as frames:
        frames.send_text("{}")
        with pytest.raises(WebSocketDisconnect) as caught:
            frames.receive_json()
    assert caught.value.code == 1003


def test_chatter_on_the_live_connection_is_ignored(page):
    with page.websocket_connect(WS + "/live", headers={"origin": OURS}) as live:
        assert live.receive_json()["type"] == "hello"
        live.send_text("{")
        live.send_bytes(b"\xff" * 100)
        page.post("/api/masses", json={"text": "1,5 g"})
        while (told := live.receive_json())["type"] != "masses":
            pass
    assert told["masses"][0]["mass_g"] == 1.5


@pytest.mark.parametrize("locks", [{"zoom": "locked"}, {"focus": "yes"}, [], {"focus": None}])
def test_senseless_locks(page, desk, locks):
    assert page.put("/locks", json={"locks": locks}).status_code == 422
    assert desk.watch.source.locks == {}


# -- paths --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "path",
    [
        "/static/../door.py", "/static/%2e%2e/door.py", "/static/..%2fdoor.py",
        "/static/..%5cdoor.py", "/static//etc/passwd", "/static/%2fetc%2fpasswd",
        "/static/desk.js%00", "/static/desk.js/", "/static/.", "/static/__init__.py", "/static/",
        "/api/runs/1/file.../../x", "/api/runs/%2e%2e", "/api/runs/1/file.%2fetc%2fpasswd",
    ],
)  # fmt: skip
def test_no_path_reaches_the_disk(page, path):
    answer = page.get(path)
    assert answer.status_code in (307, 404, 422)
    assert b"root:" not in answer.content
    assert b"import" not in answer.content


def test_every_static_file_is_there(page):
    for name, media in STATIC.items():
        answer = page.get(f"/static/{name}")
        assert answer.status_code == 200, name
        assert answer.headers["content-type"].startswith(media)


def test_raw_paths_on_a_real_socket(tmp_path):
    """Clients tidy paths before they send them; a raw socket does not."""
    with served(tmp_path) as s:
        cookie = s.server.keys.exchange(s.server.keys.new_token("desk"))[0]
        for path in ("/static/../door.py", "//etc/passwd", "/../../etc/passwd", "/static/%00"):
            request = (
                f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{s.server.port}\r\n"
                f"Cookie: {COOKIE}={cookie}\r\nConnection: close\r\n\r\n"
            )
            with socket.create_connection(("127.0.0.1", s.server.port), timeout=60) as raw:
                raw.sendall(request.encode())
                answer = b"".join(iter(lambda raw=raw: raw.recv(4096), b""))
            assert answer.split()[1] in (b"404", b"400"), path
            assert b"root:" not in answer


# -- headers --------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", ["/", "/static/desk.js", "/api/runs", "/nowhere", "/enter"])
def test_headers(page, path):
    headers = page.get(path).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "script-src 'self'" in policy
    assert "unsafe" not in policy
    assert f"ws://{HOST}" in policy
    assert "frame-ancestors 'none'" in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"
    assert headers["cache-control"] == "no-store"
    assert headers["cross-origin-resource-policy"] == "same-origin"
    assert "camera=(self)" in headers["permissions-policy"]


def test_refusals_carry_the_headers_too(stranger):
    headers = stranger.get("/api/runs").headers
    assert headers["content-security-policy"] == "default-src 'none'"
    assert headers["x-content-type-options"] == "nosniff"


def test_pages_need_no_inline_code(page):
    """The policy forbids it, so nothing may rest on it."""
    for path in ("/", "/phone", "/enter"):
        text = page.get(path).text
        assert "<style" not in text
        assert " style=" not in text
        assert "<script>" not in text
        assert " onclick" not in text
        assert "http://" not in text.replace("http://www.w3.org", "")
        assert "https://" not in text


# -- two at once ----------------------------------------------------------------------------------


def test_two_pages_see_the_same(page):
    headers = {"origin": OURS}
    with (
        page.websocket_connect(WS + "/live", headers=headers) as one,
        page.websocket_connect(WS + "/live", headers=headers) as two,
    ):
        first, second = one.receive_json(), two.receive_json()
        assert first["run_id"] == second["run_id"]
        page.post("/api/masses", json={"text": "2 g", "key": "a"})
        page.post("/api/masses", json={"text": "2 g", "key": "a"})
        for live in (one, two):
            while (told := live.receive_json())["type"] != "masses":
                pass
            assert [m["mass_g"] for m in told["masses"]] == [2.0]


def test_one_camera_at_a_time(page, desk, monkeypatch):
    monkeypatch.setattr("huehold.page.desk._SENDER_GONE_S", 60.0)
    good = jpeg(picture_at(0.0, 320))
    assert page.post("/frame?stamp_s=1&sender=a", content=good).json()["taken"]
    other = page.post("/frame?stamp_s=2&sender=b", content=good).json()
    assert not other["taken"]
    assert "Another camera" in other["error"]
    assert page.post("/frame?stamp_s=3&sender=a", content=good).json()["taken"]
    assert desk.watch.source.frames_seen == 2


def test_frames_over_the_socket_are_answered_when_analysed(page, desk):
    with page.websocket_connect(WS + "/frames?sender=a", headers={"origin": OURS}) as frames:
        for n in range(3):
            frames.send_bytes(struct.pack("<d", 10.0 + n / 10) + jpeg(picture_at(n / 10, 320)))
            told = json.loads(frames.receive_text())
            assert told == {"taken": True, "stamp_s": 10.0 + n / 10}
    assert len(desk.watch.session.trace()) >= 1
