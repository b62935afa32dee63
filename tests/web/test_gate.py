"""Who is let in, and what never reaches the page: hosts, origins, tokens, codes, paths and sizes.

The rules are those of RFC 9110 (Host), RFC 6454 (Origin) and RFC 6265bis (SameSite, HttpOnly); the attacks are those
that the OWASP cheat sheets on cross-site requests and on WebSockets, and the literature on DNS rebinding, describe.
"""

from __future__ import annotations

import os
import re

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fieldworthy.web.access import LARGEST_BODY, LARGEST_UPLOAD, VISITOR, Gate, Keys, Known, Policy, is_own_host
from web.asgi import HOST, PORT, Inner, call

HERE = f"{HOST}:{PORT}"


@pytest.fixture
def inner():
    return Inner()


@pytest.fixture
def keys():
    return Keys()


@pytest.fixture
def gate(inner, keys):
    return Gate(inner, keys)


def cookie_of(gate, keys) -> str:
    answer = call(gate, "/enter", query=f"key={keys.token}".encode())
    assert answer.status == 200
    return answer.headers["set-cookie"].partition(";")[0]


def test_the_opening_address_gives_a_strict_cookie_and_leads_on(gate, keys):
    answer = call(gate, "/enter", query=f"key={keys.token}".encode())
    name, _, rest = answer.headers["set-cookie"].partition("=")
    assert name == f"fieldworthy_{PORT}"
    assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= set(rest.split("; "))
    assert keys.token not in rest, "the cookie is another secret than the one in the address"
    assert b"location.replace('/')" in answer.body, "the address with the token does not stay in the history"
    assert keys.token.encode() not in answer.body


def test_with_the_cookie_the_page_is_served_and_knows_who_asks(gate, keys, inner):
    answer = call(gate, headers={"cookie": cookie_of(gate, keys)})
    assert answer.status == 200
    assert inner.reached[-1][VISITOR].may_change


@pytest.mark.parametrize("path", ["/", "/margins", "/fw/page.js", "/_nicegui/x", "/upload/abc", "/favicon.ico"])
def test_without_a_cookie_nothing_is_served(gate, inner, path):
    assert call(gate, path).status == 401
    assert not inner.reached


@given(st.text(max_size=60))
def test_no_other_token_opens(text):
    keys = Keys()
    assume(text != keys.token)
    assert keys.by_token(text) is None


def test_a_longer_or_shorter_token_does_not_open():
    keys = Keys()
    assert keys.by_token(keys.token) is not None
    assert keys.by_token(keys.token[:-1]) is None
    assert keys.by_token(keys.token + "A") is None
    assert keys.by_token("") is None


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        f"evil.example:{PORT}",
        f"127.0.0.1.evil.example:{PORT}",
        f"localhost.evil.example:{PORT}",
        "127.0.0.1",
        f"127.0.0.1:{PORT + 1}",
        f"127.0.0.2:{PORT}",
        f"0.0.0.0:{PORT}",
        f"[::2]:{PORT}",
        "",
        f"127.0.0.1:{PORT}@evil.example",
        f"user@127.0.0.1:{PORT}",
        f"127.0.0.1:{PORT}/",
        f" 127.0.0.1:{PORT}",
        f"2130706433:{PORT}",
        f"0x7f000001:{PORT}",
        f"127.1:{PORT}",
        f"localhost.:{PORT}",
        f"127.0.0.1:{PORT}:1",
        f"127.0.0.1:0{PORT}x",
        "a" * 500,
        f"127.0.0.1:{PORT},evil",
    ],
)
def test_another_host_is_refused_even_with_the_cookie(gate, keys, inner, host):
    cookie = cookie_of(gate, keys)
    assert call(gate, headers={"cookie": cookie, "host": host}).status in (400, 421)
    assert not inner.reached


@pytest.mark.parametrize("host", [f"127.0.0.1:{PORT}", f"localhost:{PORT}", f"LOCALHOST:{PORT}", f"[::1]:{PORT}"])
def test_the_own_names_are_served(host):
    assert is_own_host(host, (HOST, PORT), shared=False)


def test_a_request_without_or_with_two_hosts_is_refused(gate, inner):
    assert call(gate, headers={"host": None}).status == 421
    assert call(gate, pairs=[(b"Host", b"evil.example")]).status == 400
    assert not inner.reached


@given(st.text(alphabet="abcdefghijklmnopqrstuvwxyz0123456789.:-[]@/ ", max_size=40))
def test_hosts_at_random(text):
    allowed = {f"127.0.0.1:{PORT}", f"localhost:{PORT}", f"[::1]:{PORT}", f"::1:{PORT}"}
    assert not is_own_host(text, (HOST, PORT), shared=False) or text.replace(f":0{PORT}", f":{PORT}") in allowed


def test_shared_serves_the_address_and_no_name_that_points_at_it():
    server = ("192.168.7.20", PORT)
    assert is_own_host(f"192.168.7.20:{PORT}", server, shared=True)
    assert not is_own_host(f"192.168.7.20:{PORT}", server, shared=False)
    assert not is_own_host(f"evil.example:{PORT}", server, shared=True)
    assert not is_own_host(f"localhost:{PORT}", server, shared=True)


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", f"https://{HERE}", f"http://localhost:{PORT}", "file://", ""]
)
def test_another_origin_is_refused(gate, keys, inner, origin):
    cookie = cookie_of(gate, keys)
    assert call(gate, headers={"cookie": cookie, "origin": origin}).status == 403
    assert call(gate, "/upload/x", "POST", headers={"cookie": cookie, "origin": origin}).status == 403
    assert call(gate, kind="websocket", headers={"cookie": cookie, "origin": origin}).closed
    assert not inner.reached


def test_what_changes_something_must_say_where_it_comes_from(gate, keys, inner):
    cookie = cookie_of(gate, keys)
    assert call(gate, "/upload/x", "POST", headers={"cookie": cookie}).status == 403
    assert call(gate, kind="websocket", headers={"cookie": cookie}).closed
    assert not inner.reached
    assert call(gate, "/upload/x", "POST", headers={"cookie": cookie, "origin": f"http://{HERE}"}).status == 200
    assert not call(gate, kind="websocket", headers={"cookie": cookie, "origin": f"http://{HERE}"}).closed


def test_a_socket_without_the_cookie_is_closed(gate, inner):
    assert call(gate, kind="websocket", headers={"origin": f"http://{HERE}"}).closed
    assert call(gate, kind="websocket", headers={"origin": f"http://{HERE}", "cookie": f"fieldworthy_{PORT}=x"}).closed
    assert not inner.reached


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_a_page_from_elsewhere_cannot_embed_this_one(gate, keys, site):
    headers = {"cookie": cookie_of(gate, keys), "sec-fetch-site": site}
    assert call(gate, headers=headers).status == 403
    assert call(gate, "/enter", query=f"key={keys.token}".encode(), headers={"sec-fetch-site": site}).status == 200


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT", "PROPFIND"])
def test_unknown_methods_are_refused(gate, keys, inner, method):
    assert call(gate, method=method, headers={"cookie": cookie_of(gate, keys)}).status == 405
    assert not inner.reached


@pytest.mark.parametrize(
    "path",
    [
        "/../x",
        "/fw/../../etc/passwd",
        "/fw/%2e%2e/x",
        "/fw\\..\\x",
        "/a/%5c../b",
        "/x\x00",
        "/x\n",
        "/..",
        "/fw/..%2fx",
    ],
)
def test_paths_that_climb_are_refused(gate, keys, inner, path):
    assert call(gate, path, headers={"cookie": cookie_of(gate, keys)}).status == 400
    assert not inner.reached


def test_a_long_body_is_refused_whatever_it_says_of_its_length(gate, keys, inner):
    headers = {"cookie": cookie_of(gate, keys), "origin": f"http://{HERE}"}
    for path, most in (("/fw/x", LARGEST_BODY), ("/upload/x", LARGEST_UPLOAD)):
        told = headers | {"content-length": str(most + 1)}
        assert call(gate, path, "POST", headers=told).status == 413
        assert not inner.reached
    for path, most in (("/fw/x", LARGEST_BODY), ("/upload/x", LARGEST_UPLOAD)):
        inner.read = 0
        call(gate, path, "POST", b"x" * (most + 200_000), headers=headers)
        assert inner.read <= most
    for wrong in ("-1", "x", "1e9", "9" * 40):
        assert call(gate, "/upload/x", "POST", headers=headers | {"content-length": wrong}).status == 400


def code_of(answer) -> bool:
    return answer.status == 200 and "set-cookie" in answer.headers


def try_code(gate, code, address="192.168.7.9"):
    server = ("192.168.7.20", PORT)
    host = f"192.168.7.20:{PORT}"
    headers = {"host": host, "origin": f"http://{host}", "content-type": "application/x-www-form-urlencoded"}
    return call(gate, "/enter", "POST", f"code={code}".encode(), headers=headers, server=server, client=(address, 5))


def test_a_visitor_types_the_code_and_may_look_only(inner):
    keys = Keys(shared=True)
    gate = Gate(inner, keys)
    spaced = f"{keys.code[:4].lower()}-{keys.code[4:]} "
    answer = try_code(gate, spaced)
    assert code_of(answer)
    visitor = keys.by_cookie(answer.headers["set-cookie"].partition("=")[2].partition(";")[0])
    assert visitor is not None
    assert not visitor.may_change
    allowed = Keys(shared=True, allow_changes=True)
    found = allowed.by_code(allowed.code, "x")
    assert found is not None
    assert found.may_change


def test_without_share_the_code_opens_nothing(inner):
    keys = Keys()
    assert keys.by_code(keys.code, "127.0.0.1") is None


def test_wrong_codes_are_limited_by_address_and_in_all(inner):
    clock, told = [0.0], []
    keys = Keys(shared=True, now=lambda: clock[0], tell=told.append)
    gate, first = Gate(inner, keys), keys.code
    for _ in range(5):
        assert try_code(gate, "WRONGWRO").status == 401
    assert try_code(gate, first).status == 429, "the right code too must wait then"
    assert code_of(try_code(gate, first, "192.168.7.10")), "another address does not"
    clock[0] = 61.0
    assert code_of(try_code(gate, first))
    for i in range(100):
        try_code(gate, "WRONGWRO", f"10.0.0.{i}")
    assert keys.code != first, "after a hundred wrong ones there is a new code"
    assert told == [keys.code]


def test_codes_and_tokens_are_long_and_never_the_same():
    drawn = {Keys().code for _ in range(200)}
    assert len(drawn) == 200
    assert all(re.fullmatch(r"[A-HJ-NP-Z2-9]{8}", code) for code in drawn)
    assert len({Keys().token for _ in range(200)}) == 200
    assert len(Keys().token) >= 32


def test_many_cookies_do_not_fill_the_memory():
    keys = Keys()
    first = keys.by_token(keys.token)
    for _ in range(600):
        keys.by_token(keys.token)
    assert first is not None
    assert keys.by_cookie(first.cookie) is None
    assert len(keys._visitors) == 500


def test_every_answer_has_the_headers_that_keep_others_out(inner, gate, keys):
    refused = call(gate)
    served = call(Policy(inner))
    for answer in (refused, served):
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["x-frame-options"] == "DENY"
        assert answer.headers["referrer-policy"] == "same-origin"
    policy = served.headers["content-security-policy"]
    for rule in (
        "default-src 'none'",
        "connect-src 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
        "object-src 'none'",
    ):
        assert rule in policy
    assert "http" not in policy
    script = re.search(r"script-src ([^;]*)", policy)
    assert script is not None
    assert "'unsafe-inline'" not in script[1]


def test_each_script_has_the_nonce_of_its_answer(inner):
    first, second = call(Policy(inner)), call(Policy(inner))
    nonces = [re.search(r"'nonce-([^']+)'", a.headers["content-security-policy"])[1] for a in (first, second)]
    assert nonces[0] != nonces[1]
    assert first.body == f'<script nonce="{nonces[0]}">1</script>'.encode()
    assert int(first.headers["content-length"]) == len(first.body)


def test_a_browser_is_known_after_a_restart_and_its_cookie_is_not_written_down(tmp_path):
    kept = Known(tmp_path / "cache" / "windows")
    first = Keys(known=kept)
    cookie = first.by_token(first.token).cookie
    again = Keys(known=kept)
    assert again.by_cookie(cookie).owner
    assert again.by_cookie(cookie[:-1]) is None
    assert again.by_cookie("") is None
    assert Keys().by_cookie(cookie) is None
    assert cookie not in kept.file.read_text("ascii")
    if os.name == "posix":
        assert kept.file.stat().st_mode & 0o077 == 0
    visitor = Keys(shared=True, known=kept, code="ABCDEFGH")
    guest = visitor.by_code("ABCDEFGH", "192.0.2.7").cookie
    assert Keys(known=kept).by_cookie(guest) is None, "who came by the code types it again"
    os.utime(kept.file, (0, 0))
    assert Keys(known=kept).by_cookie(cookie) is None, "a day later it asks for the address again"
