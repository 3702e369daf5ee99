"""Names, origins, unknown addresses, and the headers of everything."""

import re
import socket
import threading
import time

import pytest

from pwindow.server.hosts import own_names
from tests.helpers.servers import wait_until

NOBODY = "00000000-0000-0000-0000-000000000000"
CSS = "/voila/templates/pwindow/static/pwindow.css"
HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


@pytest.fixture(scope="module")
def visitor(visiting):
    """A visitor of a server that the network can reach."""
    with visiting(host="0.0.0.0") as visitor:
        yield visitor


def check_headers(headers):
    assert {name: headers[name] for name in HEADERS} == HEADERS
    policy = headers.get_all("Content-Security-Policy")
    assert len(policy) == 1
    assert "default-src 'self'" in policy[0] and "frame-ancestors 'none'" in policy[0]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("GET", "/", 200),
        ("GET", CSS, 200),
        ("HEAD", CSS, 200),
        ("GET", "/voila/static/voila.js", 200),
        ("GET", "/voila/labextensions/anywidget/package.json", 200),
        ("GET", f"{CSS}?%ff=%ff", 200),
        ("GET", "/voila/static/%ff", 400),
        ("GET", "/login", 302),
        ("GET", "/nowhere", 404),
        ("GET", f"/api/kernels/{NOBODY}", 404),
        ("POST", f"/voila/api/shutdown/{NOBODY}", 403),
        ("POST", CSS, 405),
        ("TRACE", "/", 405),
    ],
)
def test_every_answer_has_the_same_headers(visitor, method, path, status):
    answered, _, headers = visitor.ask(method, path)
    assert answered == status
    check_headers(headers)


@pytest.mark.slow
def test_a_page_has_them_and_so_has_what_did_not_change(visitor):
    status, text, headers = visitor.ask("GET", visitor.page)
    assert status == 200 and headers["Content-Type"].startswith("text/html")
    check_headers(headers)
    tag = visitor.ask("GET", CSS)[2]["Etag"]
    status, _, headers = visitor.ask("GET", CSS, If_None_Match=tag)
    assert status == 304
    check_headers(headers)


UNKNOWN = [
    "/nowhere",
    "/voila",
    "/voila/tree",
    "/voila/render/",
    "/voila/render/none.ipynb",
    "/voila/render/trial.csv",
    "/voila/render/set-up-speed",
    "/voila/render/../set-up-speed.ipynb",
    "/voila/render/..%2fother.ipynb",
    "/voila/render/none/set-up-speed.ipynb",
    "/voila/render/%00.ipynb",
    "/voila/templates/x",
    "/voila/templates/pwindow",
    "/voila/templates/pwindow/static",
    "/voila/templates/pwindow/index.html.j2",
    "/voila/templates/pwindow/static/none.css",
    "/voila/templates/pwindow/static/../index.html.j2",
    "/voila/templates/pwindow/static/%2e%2e/index.html.j2",
    "/voila/templates/none/static/pwindow.css",
    "/voila/templates/../static/pwindow.css",
    "/voila/static/",
    "/voila/static/none.js",
    "/voila/static/../../app.py",
    "/voila/static/%2e%2e/%2e%2e/%2e%2e/%2e%2e/%2e%2e/%2e%2e/%2e%2e/%2e%2e/%2e%2e/etc/passwd",
    "/voila/static/%00",
    "/voila/static/" + "a" * 5000,
    "/voila/labextensions/none.js",
    "/voila/labextensions/..%2f..%2fjupyter%2fvoila",
    "/voila/files/trial.csv",
    "/voila/files/%2e%2e/trial.csv",
    "/voila/api/contents",
    "/voila/api/contents/set-up-speed.ipynb",
    "/voila/api/themes/x",
    "/api/kernels",
    "/api/kernels/x",
    f"/api/kernels/{NOBODY}",
    f"/api/kernels/{NOBODY}/restart",
    f"/api/kernels/{NOBODY}/channels",
    "/api/sessions",
    "/api/contents",
    "/api/terminals",
    "/api/kernelspecs",
    f"/voila/query/{NOBODY}",
    f"/guess/voila/query/{NOBODY}",
    f"/voila/execution/{NOBODY}",
    "/trial.csv",
    "/logout",
]


@pytest.mark.slow
@pytest.mark.parametrize("path", UNKNOWN)
def test_what_is_not_there_is_said_so_by_our_own_page(visitor, path):
    status, text, headers = visitor.ask("GET", path)
    assert status == 404, text
    check_headers(headers)
    assert "root:" not in text and "1,60" not in text
    if not headers["Content-Type"].startswith("application/json"):
        assert "pw-plain" in text and not re.search(r'(?:src|href)="(?:https?:)?//', text)


@pytest.mark.slow
@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH"])
@pytest.mark.parametrize(
    "path",
    ["/", "/voila/render/set-up-speed.ipynb", "/voila/render/none.ipynb", CSS, f"/api/kernels/{NOBODY}"],
)
def test_a_method_that_an_address_does_not_have(visitor, method, path):
    assert visitor.ask(method, path)[0] == 405


@pytest.mark.slow
def test_what_ran_before_runs_still(visitor):
    assert "Traceback" not in visitor.server.log.read_text(encoding="utf-8")


# Names and origins


def test_this_computers_names():
    names = own_names("Press-Office.")
    assert {"localhost", "press-office", socket.gethostname().lower()} <= names


EVERYWHERE = ["/", "/voila/render/set-up-speed.ipynb", CSS, "/voila/static/voila.js", "/login", "/nowhere"]


@pytest.mark.slow
@pytest.mark.parametrize("path", [*EVERYWHERE, f"/voila/query/{NOBODY}", f"/api/kernels/{NOBODY}"])
@pytest.mark.parametrize(
    "name", ["foreign.example", "foreign.example:80", "127.0.0.1.foreign.example", "2130706433"]
)
def test_a_foreign_name_for_this_computer_is_refused(visitor, path, name):
    status, text, headers = visitor.ask("GET", path, Host=name)
    assert status == 403
    assert "does not answer to the name" in text
    check_headers(headers)


@pytest.mark.slow
@pytest.mark.parametrize(
    "name", ["localhost", "LOCALHOST.", "192.0.2.7:8866", "[::1]:8866", socket.gethostname()]
)
def test_its_own_names_and_addresses_are_answered(visitor, name):
    assert visitor.ask("GET", "/", Host=name)[0] == 200


@pytest.mark.slow
@pytest.mark.parametrize(
    "options",
    [
        {"origin": "http://foreign.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:1"},
        {"host": "foreign.example"},
        {"origin": "http://foreign.example", "host": "foreign.example"},
    ],
)
def test_a_socket_from_another_origin_is_refused(visitor, options):
    kernel = visitor.open_page()
    assert visitor.refused(kernel, **options) == 403
    visitor.connect(kernel, origin=f"http://{visitor.address}").close()
    visitor.leave(kernel)


# Where kernels wait


@pytest.mark.slow
def test_a_visitor_cannot_reach_where_kernels_wait(visitor):
    for path in ("/voila/query/{}", "/guess/voila/query/{}"):
        assert visitor.refused(NOBODY, path) == 404


@pytest.mark.slow
def test_sockets_that_come_and_go_where_kernels_wait_do_not_keep_the_next_page(visitor):
    """The secret is taken from a kernel, so that the route itself is shown to be sound."""
    assert wait_until(lambda: any(time.time() - part.create_time() > 4 for part in visitor.kernels()))
    base = visitor.kernels()[0].environ()["VOILA_WS_BASE_URL"]
    for kernel in (NOBODY, NOBODY):
        lines = [visitor.connect(kernel, base + "voila/query/{}", subprotocols=None) for _ in range(2)]
        for line in lines:
            line.close()
    opened = []
    thread = threading.Thread(
        target=lambda: opened.append(visitor.ask("GET", visitor.page + "?speed=61")), daemon=True
    )
    thread.start()
    thread.join(30)
    assert opened and opened[0][0] == 200
    assert "asked speed=61" in opened[0][1]
