"""With a password, nothing is given without it."""

import re
import time
from http.cookies import SimpleCookie
from urllib.parse import urlencode

import pytest

from pwindow.server.password import PAUSE

NOBODY = "00000000-0000-0000-0000-000000000000"


@pytest.fixture(scope="module")
def visitor(visiting):
    with visiting(password=True) as visitor:
        yield visitor


@pytest.fixture(scope="module")
def token(visitor):
    told = visitor.server.log.read_text(encoding="utf-8")
    return re.search(
        r"http://127\.0\.0\.1:\d+/voila/render/set-up-speed\.ipynb\?token=([\w-]{22,})\n", told
    ).group(1)


def cookies(headers):
    jar = SimpleCookie()
    for line in headers.get_all("Set-Cookie") or []:
        jar.load(line)
    return jar


def as_header(jar):
    return "; ".join(f"{name}={morsel.coded_value}" for name, morsel in jar.items())


@pytest.fixture(scope="module")
def known(visitor, token):
    """The cookies of a visitor who came by the link."""
    status, _, headers = visitor.ask("GET", f"{visitor.page}?speed=61&token={token}")
    assert status == 302 and headers["Location"] == f"{visitor.page}?speed=61"
    jar = cookies(headers)
    name = next(name for name in jar if name.startswith("username"))
    assert jar[name]["httponly"] and jar[name]["samesite"] == "Lax" and token not in jar[name].value
    return as_header(jar)


@pytest.mark.slow
@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/voila/render/set-up-speed.ipynb",
        "/voila/render/set-up-speed.ipynb?token=wrong",
        "/voila/templates/pwindow/static/pwindow.css",
        "/voila/static/voila.js",
        "/voila/labextensions/anywidget/package.json",
    ],
)
@pytest.mark.parametrize("cookie", ["", "username-127-0-0-1=forged"])
def test_nothing_is_given_to_strangers(visitor, path, cookie):
    status, text, headers = visitor.ask("GET", path, Cookie=cookie)
    assert status == 302 and headers["Location"].startswith("/login?next=") and not text
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert visitor.ask("GET", f"/api/kernels/{NOBODY}", Cookie=cookie)[0] == 403


@pytest.mark.slow
def test_a_visitor_with_the_link_sees_the_page(visitor, known):
    status, text, _ = visitor.ask("GET", visitor.page + "?speed=61", Cookie=known)
    assert status == 200 and "asked speed=61" in text and "token" not in text
    assert visitor.ask("GET", "/voila/static/voila.js", Cookie=known)[0] == 200
    kernel = re.search(r'"kernelId": "([^"]+)"', text).group(1)
    assert visitor.refused(kernel) == 403
    visitor.connect(kernel, cookie=known).close()
    assert visitor.ask("POST", f"/voila/api/shutdown/{kernel}", "")[0] == 403
    assert visitor.kernel_exists(kernel) is False, "a stranger is not told"
    assert visitor.ask("GET", f"/api/kernels/{kernel}", Cookie=known)[0] == 200


@pytest.mark.slow
def test_a_link_does_not_free_from_the_check_of_origins(visitor, known, token):
    kernel = visitor.open_page(Cookie=known)
    path = "/api/kernels/{}/channels?session_id={}&token=" + token
    assert visitor.refused(kernel, path, origin="http://foreign.example") == 403
    assert visitor.ask("POST", f"/voila/api/shutdown/{kernel}?token={token}", "")[0] == 403


def form(visitor, password):
    _, text, headers = visitor.ask("GET", "/login?next=%2Fvoila%2Frender%2Fset-up-speed.ipynb")
    assert "pw-plain" in text and 'type="password"' in text
    sent = urlencode(
        {"password": password, "_xsrf": re.search(r'name="_xsrf" value="([^"]+)"', text).group(1)}
    )
    action = re.search(r'action="([^"]+)"', text).group(1)
    asked = {"Cookie": as_header(cookies(headers)), "Content_Type": "application/x-www-form-urlencoded"}
    return visitor.ask("POST", action, sent, **asked)


@pytest.mark.slow
def test_the_password_can_be_typed(visitor, token):
    status, _, headers = form(visitor, token)
    assert status == 302 and headers["Location"] == visitor.page
    assert visitor.ask("GET", "/", Cookie=as_header(cookies(headers)))[0] == 200


@pytest.mark.slow
@pytest.mark.parametrize("password", ["", "wrong", "größer"])
def test_a_wrong_password_is_said_after_a_pause(visitor, password):
    start = time.monotonic()
    status, text, headers = form(visitor, password)
    assert status == 401 and "Wrong password" in text
    assert time.monotonic() - start >= PAUSE
    assert not [name for name in cookies(headers) if name.startswith("username")]


@pytest.mark.slow
def test_nobody_is_sent_elsewhere_after_the_password(visitor, known):
    for target in ("//foreign.example/", "http://foreign.example/", "/\\foreign.example"):
        _, _, headers = visitor.ask("GET", "/login?" + urlencode({"next": target}), Cookie=known)
        assert "foreign.example" not in headers["Location"] or headers["Location"].startswith("/%5C")


@pytest.mark.slow
def test_the_password_is_with_no_kernel(visitor, token):
    assert all(token not in str(process.environ()) for process in visitor.kernels())
