"""Who is let in: every request and socket is held against host, origin and key before a page sees it."""

import asyncio

import pytest

from pithline.shed.access import COOKIE, MOST_TRIES, Door, Gate, hosts_of

LAN = "192.168.7.20"
PORT = 8765


def door(shared=False):
    return Door(hosts_of([LAN] if shared else [], PORT), shared)


def ask(door, kind="http", method="GET", path="/", query=b"", **headers):
    """What the gate answers: status (or the close code of a socket), headers, and whether the page behind was reached."""
    reached, sent = [], []

    async def page(scope, receive, send):
        reached.append(scope["path"])
        await send({"type": "http.response.start", "status": 200, "headers": [(b"content-type", b"text/html")]})

    async def receive():
        return {"type": "websocket.connect"}

    async def send(message):
        sent.append(message)

    told = {"host": f"127.0.0.1:{PORT}", **{name.replace("_", "-"): value for name, value in headers.items()}}
    scope = {
        "type": kind,
        "path": path,
        "query_string": query,
        "headers": [(name.encode(), value.encode()) for name, value in told.items() if value is not None],
    }
    if kind == "http":
        scope["method"] = method
    asyncio.run(Gate(page, door)(scope, receive, send))
    first = sent[0]
    return first.get("status", first.get("code")), dict(first.get("headers", [])), bool(reached)


def test_this_machine_is_let_in_by_its_own_names():
    for name in ("127.0.0.1", "localhost", "[::1]"):
        assert ask(door(), host=f"{name}:{PORT}")[2]


@pytest.mark.parametrize("host", ["evil.example", f"evil.example:{PORT}", "127.0.0.1:1", f"{LAN}:{PORT}", None])
def test_another_name_for_this_machine_is_refused(host):
    status, _, reached = ask(door(), host=host)
    assert (status, reached) == (403, False)


@pytest.mark.parametrize("kind", ["http", "websocket"])
@pytest.mark.parametrize(
    "origin", ["http://evil.example", f"http://127.0.0.1:{PORT + 1}", "null", f"http://localhost.evil.example:{PORT}"]
)
def test_another_site_can_neither_ask_nor_open_a_socket(kind, origin):
    status, _, reached = ask(door(), kind, "POST", origin=origin)
    assert status in (403, 4403) and not reached


def test_a_page_of_our_own_may_ask_and_open_a_socket():
    own = f"http://127.0.0.1:{PORT}"
    assert ask(door(), "http", "POST", origin=own)[2]
    assert ask(door(), "websocket", origin=own)[2]


def test_a_change_asked_for_across_sites_without_an_origin_is_refused():
    assert not ask(door(), "http", "POST", sec_fetch_site="cross-site")[2]
    assert ask(door(), "http", "GET", sec_fetch_site="cross-site")[2]  # a link from elsewhere may open a page


@pytest.mark.parametrize("kind", ["http", "websocket"])
def test_shared_nothing_is_reached_without_a_pass(kind):
    one = door(shared=True)
    for path in ("/", "/shed-files/shed.css", "/plan-file/x/y", "/_nicegui_ws/socket.io", "/take-in"):
        assert not ask(one, kind, path=path, host=f"{LAN}:{PORT}")[2]
        assert not ask(one, kind, path=path, cookie=f"{COOKIE}=guess")[2]


def test_a_key_lets_one_browser_in_once():
    one = door(shared=True)
    key = one.new_key()
    status, headers, reached = ask(one, path="/enter", query=f"key={key}".encode(), host=f"{LAN}:{PORT}")
    assert (status, reached) == (200, False)
    cookie = headers[b"set-cookie"].decode()
    assert "HttpOnly" in cookie and "SameSite=Strict" in cookie
    assert ask(one, host=f"{LAN}:{PORT}", cookie=cookie.split(";")[0])[2]
    assert ask(one, "websocket", host=f"{LAN}:{PORT}", cookie=cookie.split(";")[0])[2]
    assert ask(one, path="/enter", query=f"key={key}".encode())[0] == 403


def test_keys_cannot_be_guessed_on_and_on():
    one = door(shared=True)
    key = one.new_key()
    for _ in range(MOST_TRIES):
        assert one.take("wrong") is None
    assert one.take(key) is None


def test_entering_needs_the_right_name_too():
    one = door(shared=True)
    status, _, _ = ask(one, path="/enter", query=f"key={one.new_key()}".encode(), host="evil.example")
    assert status == 403 and len(one.keys) == 1


def test_every_answer_tells_the_browser_to_ask_nobody_else():
    _, headers, _ = ask(door())
    policy = headers[b"content-security-policy"].decode()
    assert "default-src 'self'" in policy and "http" not in policy and "*" not in policy
    assert headers[b"x-content-type-options"] == b"nosniff" and headers[b"referrer-policy"] == b"no-referrer"


def test_a_broken_cookie_is_no_pass():
    assert not ask(door(shared=True), cookie='a="b; \x01=;;;')[2]
