"""Who may ask the page, and what is refused: names, origins, tokens, sizes, slow and hostile requests."""

from __future__ import annotations

import random
import time
from urllib.parse import urlencode

import pytest

from castq.page.guard import MOST_BYTES, Guard
from castq.page.serving import TimedProtocol
from tests.page.ground import FIELDS, Found, Ground, Visitor, status_of


class Quick(TimedProtocol):
    head_s = 0.4


def get(ground: Ground, host: str | None, target: str = "/", version: str = "1.1", more: str = "") -> bytes:
    name = "" if host is None else f"Host: {host}\r\n"
    return ground.raw(f"GET {target} HTTP/{version}\r\n{name}{more}Connection: close\r\n\r\n".encode())


def post_head(ground: Ground, **changes: str | None) -> str:
    headers = {
        "Host": f"127.0.0.1:{ground.port}", "Origin": ground.address,
        "Content-Type": "application/x-www-form-urlencoded", "Connection": "close",
    }  # fmt: skip
    headers |= {name.replace("_", "-"): value for name, value in changes.items()}
    lines = [f"{name}: {value}" for name, value in headers.items() if value is not None]
    return "\r\n".join(["POST /samples HTTP/1.1", *lines, "", ""])


def test_it_answers_to_its_own_names_only(ground: Ground) -> None:
    port = ground.port
    for host in (f"127.0.0.1:{port}", f"localhost:{port}", f"LOCALHOST:{port}"):
        assert status_of(get(ground, host)) == 200
    foreign = ["evil.example", f"evil.example:{port}", f"0.0.0.0:{port}", "127.0.0.1", "localhost",
               f"127.0.0.1:{port + 1}", f"127.0.0.1:{port}.evil.example", f"127.0.0.1:{port}@evil.example",
               f"localhost.evil.example:{port}", f"127.0.0.1:0{port}", f"[::]:{port}", f"127.1:{port}", ""]  # fmt: skip
    for host in foreign:
        assert status_of(get(ground, host)) == 421, host
    assert status_of(get(ground, None, version="1.0")) == 421
    # RFC 9112, section 3.2: a request of HTTP/1.1 without Host, or with two, is answered with 400.
    assert status_of(get(ground, None)) == 400
    assert status_of(get(ground, f"127.0.0.1:{port}", more="Host: evil.example\r\n")) == 400


def test_a_named_host_is_answered_when_it_was_allowed(tmp_path) -> None:
    ground = Ground(tmp_path, allowed_hosts=("furnace-pc",))
    try:
        assert status_of(get(ground, f"furnace-pc:{ground.port}")) == 200
        assert status_of(get(ground, "furnace-pc")) == 421
    finally:
        ground.close()


def test_entries_come_from_this_page_only(ground: Ground, visitor: Visitor) -> None:
    whole = urlencode({**FIELDS, **visitor.ticket()})
    origins = ["http://evil.example", "null", f"https://127.0.0.1:{ground.port}", f"http://127.0.0.1:{ground.port + 1}",
               f"http://127.0.0.1:{ground.port}.evil.example", ""]  # fmt: skip
    for origin in origins:
        status, text = visitor.ask("POST", "/samples", whole, Origin=origin)
        assert (status, "nothing was written" in text) == (403, True), origin
    head = post_head(ground, Origin=None, Content_Length=str(len(whole)), Cookie=visitor.cookie)
    assert status_of(ground.raw(head.encode() + whole.encode())) == 403
    assert visitor.ask("POST", "/samples", whole, **{"Sec-Fetch-Site": "cross-site"})[0] == 403
    assert ground.rows() == 0


def test_an_entry_needs_the_token_of_its_browser(ground: Ground, visitor: Visitor) -> None:
    ticket, other = visitor.ticket(), Visitor(ground)
    stolen = other.ticket()
    wrong = [{}, {"key": ticket["key"]}, {"token": ticket["token"]}, {**ticket, "token": "0" * 64}, stolen,
             {"key": ticket["key"], "token": stolen["token"]}, {**ticket, "token": "ä"}]  # fmt: skip
    for given in wrong:
        status, text = visitor.ask("POST", "/samples", urlencode({**FIELDS, **given}))
        assert status == 403
        assert "nothing was written. Your entries are still here" in Found(text).words
        assert 'value="712,5"' in text
    cookie, visitor.cookie = visitor.cookie, ""
    assert visitor.ask("POST", "/samples", urlencode({**FIELDS, **ticket}))[0] == 403
    assert ground.rows() == 0
    visitor.cookie = cookie
    assert visitor.ask("POST", "/samples", urlencode({**FIELDS, **ticket}))[0] == 303
    assert ground.rows() == 1


@pytest.mark.parametrize(
    ("changes", "body", "status"),
    [
        ({"Content_Length": str(MOST_BYTES + 1)}, b"", 413),
        ({"Content_Length": str(5 * 1024**2)}, b"", 413),
        ({"Content_Length": "9" * 15}, b"", 413),
        ({"Content_Length": "-1"}, b"", 400),
        ({"Content_Length": "1e3"}, b"", 400),
        ({}, b"", 411),
        ({"Transfer_Encoding": "chunked"}, b"3\r\na=b\r\n0\r\n\r\n", 411),
        ({"Transfer_Encoding": "chunked", "Content_Length": "3"}, b"3\r\na=b\r\n0\r\n\r\n", 411),
        ({"Content_Length": "3", "Content_Type": "multipart/form-data; boundary=x"}, b"abc", 415),
        ({"Content_Length": "2", "Content_Type": "application/json"}, b"{}", 415),
        ({"Content_Length": "4"}, b"\xff\xfe=1", 400),
        ({"Content_Length": "6"}, b"a=%ff1", 400),
    ],
)
def test_sizes_and_kinds_of_entries(ground: Ground, changes: dict, body: bytes, status: int) -> None:
    answer = ground.raw(post_head(ground, **changes).encode() + body)
    assert status_of(answer) == status, answer[:300]
    assert ground.rows() == 0
    assert b"Traceback" not in answer


def test_too_many_fields_and_a_body_on_a_get(ground: Ground) -> None:
    body = "&".join(f"f{i}=1" for i in range(200)).encode()
    assert status_of(ground.raw(post_head(ground, Content_Length=str(len(body))).encode() + body)) == 400
    assert status_of(get(ground, f"127.0.0.1:{ground.port}", more="Content-Length: 3\r\n")) == 400


def test_addresses_lead_nowhere_else(ground: Ground) -> None:
    host = f"127.0.0.1:{ground.port}"
    targets = ["/own/../app.py", "/own/..%2fapp.py", "/own/%2e%2e/app.py", "/own/....//app.py", "/own/page.css/..",
               "/own/", "/own", "/static/page.css", "/../../etc/passwd", "//etc/passwd",
               "/own/page.css%00", "/own/..\\app.py",
               "/%2e%2e/%2e%2e/etc/passwd", "/docs", "/redoc", "/openapi.json", "/samples", "/samples/0", "/samples/-1",
               "/samples/x", "/samples/99999999999999999999999", "/favicon.ico", "/own/page.css~", "/own/sample.html",
               "/own/%252e%252e/app.py", "http://evil.example/"]  # fmt: skip
    for target in targets:
        assert status_of(get(ground, host, target)) in {404, 405}, target
    assert status_of(get(ground, host, "/" + "a" * 4000)) == 414
    assert status_of(get(ground, host, "/?" + "a" * 4000)) == 414
    assert status_of(get(ground, host, "/own/page.css")) == 200
    for method in ("PUT", "DELETE", "OPTIONS", "TRACE", "PATCH", "CONNECT"):
        asked = f"{method} / HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n".encode()
        assert status_of(ground.raw(asked)) == 405, method


def test_nothing_is_changed_by_reading(ground: Ground, visitor: Visitor) -> None:
    status, _ = visitor.enter()
    assert status == 303
    for path in ("/samples", "/samples/1/withdraw"):
        assert visitor.ask("GET", f"{path}?{urlencode(FIELDS)[:400]}")[0] == 405
    assert ground.rows() == 1


def test_every_answer_carries_its_guards(ground: Ground, visitor: Visitor) -> None:
    for path, status in (("/", 200), ("/day", 200), ("/nothing", 404), ("/own/page.js", 200)):
        assert visitor.ask("GET", path)[0] == status
        policy = visitor.headers["content-security-policy"]
        assert policy.startswith("default-src 'none'; ") and "unsafe" not in policy
        assert visitor.headers["x-content-type-options"] == "nosniff"
        assert visitor.headers["x-frame-options"] == "DENY"
        assert visitor.headers["referrer-policy"] == "same-origin"
        assert "server" not in visitor.headers
    visitor.cookie = ""
    visitor.ask("GET", "/")
    assert visitor.headers["cache-control"] == "private, no-cache"
    assert "httponly; " in visitor.headers["set-cookie"].lower()
    assert visitor.headers["set-cookie"].lower().endswith("samesite=strict")


def test_slow_requests_are_let_go(tmp_path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Guard.__init__, "__defaults__", (0.4,))
    ground = Ground(tmp_path, protocol=Quick)
    try:
        began = time.monotonic()
        assert ground.raw(f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{ground.port}\r\nX-".encode(), 5.0) == b""
        assert ground.raw(b"", 5.0) == b""
        assert status_of(ground.raw(post_head(ground, Content_Length="10").encode() + b"a=", 5.0)) == 408
        assert 1.0 < time.monotonic() - began < 4.0
        line = f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{ground.port}\r\n\r\n".encode()
        assert status_of(ground.raw(line)) == 200
    finally:
        ground.close()


def test_a_fault_shows_one_sentence(ground: Ground, visitor: Visitor, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("secret path /srv/plant")

    monkeypatch.setattr("castq.page.desk.last_day", broken)
    status, text = visitor.ask("GET", "/day")
    assert status == 500
    assert text == "A fault in castq; whether the entry was kept, the list of samples tells.\n"


def test_fuzzed_heads_never_get_in(ground: Ground) -> None:
    rng = random.Random(17)
    pieces = [b"Host: evil.example", b"Origin: null", b"Origin: http://evil.example", b"Content-Length: -5",
              b"Content-Length: 99999999", b"Transfer-Encoding: chunked", b"Transfer-Encoding: gzip, chunked",
              b"Cookie: castq-page=" + b"f" * 32, b"Cookie: \xff\xfe=;;;", b"X-Forwarded-Host: evil",
              b"Upgrade: websocket", b"Connection: upgrade", b"Expect: 100-continue", b"Content-Type: text/plain",
              b"X: " + b"y" * 3000,
              b"Range: bytes=0-1", b"\x00: \x00", b"no colon at all",
              b"Sec-Fetch-Site: cross-site", b": empty"]  # fmt: skip
    allowed = {0, 400, 403, 404, 405, 408, 411, 413, 414, 415, 421}
    seen = set()
    for _ in range(200):
        own = rng.random() < 0.6
        method = rng.choice([b"GET", b"POST", b"POST", b"PUT", b"HEAD", b"\x01\x02"])
        target = rng.choice([b"/", b"/samples", b"/samples/1", b"/samples/1/withdraw", b"*", b"/%00", rng.randbytes(8)])
        lines = [method + b" " + target + b" HTTP/1." + rng.choice([b"0", b"1", b"9"])]
        lines += [f"Host: 127.0.0.1:{ground.port}".encode()] if own else []
        lines += [rng.choice(pieces) if rng.random() < 0.8 else rng.randbytes(20) for _ in range(rng.randint(0, 4))]
        answer = ground.raw(b"\r\n".join([*lines, b"Connection: close", b"", b"a=b"]), 0.4)
        status = status_of(answer)
        seen.add(status)
        assert status in allowed or (status == 200 and own and method in {b"GET", b"HEAD"}), (lines, answer[:200])
        assert b"Traceback" not in answer
    assert ground.rows() == 0
    assert {400, 403, 421} <= seen
    assert Visitor(ground).enter()[0] == 303
