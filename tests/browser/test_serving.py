"""The server as a visitor meets it: what it gives, what it refuses, and how it ends."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import sys
import time
import uuid
from pathlib import Path

import nbformat
import psutil
import pytest
import websocket
from jupyter_server.services.kernels.connection.base import serialize_msg_to_ws_v1

from pwindow.cli.server_settings import LANDING_PAGE
from pwindow.server.frames import V1
from tests.helpers.servers import ask, free_port, run_server, wait_until

pytestmark = pytest.mark.slow

ROOT = Path(__file__).resolve().parents[2]
TEMPLATES = ROOT / "dashboards" / "templates"
PAGE = f"/voila/render/{LANDING_PAGE}"
PLOTTED = ".js-plotly-plot .scatterlayer .trace"

READY = """
import os
import ipywidgets as widgets, plotly.graph_objects as go
from IPython.display import display
from voila.utils import wait_for_request
wait_for_request()
"""
BUILT = """
figure = go.FigureWidget(go.Figure(go.Scatter(x=[1, 2], y=[3, 4]), layout={"height": 300}))
drift = widgets.FloatSlider(description="Speed drift", min=0, max=2, step=0.1, value=1)
end = widgets.Button(description="End the kernel", tooltip="end it")
end.on_click(lambda _: os._exit(1))
upload = widgets.FileUpload(description="Trial file")
seen = widgets.Label("nothing yet")
def show(change):
    seen.value = f"received {len(upload.value[0]['content'])} bytes"
upload.observe(show, "value")
save = widgets.HTML('<button type="button" data-pw-action="save-picture">Save picture</button>')
trial = widgets.Label("trial " + os.environ.get("PWINDOW_TRIAL", "none"))
filler = widgets.HTML('<div style="height: 1500px"></div><p>the end</p>')
display(widgets.VBox([drift, widgets.HBox([end, upload, save]), seen, trial, figure, filler]))
"""
SERVE = """
import json, sys
from pathlib import Path
from pwindow.cli.serving import serve
asked = json.loads(sys.argv[1])
trials = [Path(name) for name in asked.pop("trials", [])]
folder = Path(asked.pop("folder"))
sys.exit(serve(folder, open_browser=False, trials=trials, **asked))
"""


def command(folder: Path, port: int, **more) -> list[str]:
    asked = {"folder": str(folder), "port": port, **more}
    return [sys.executable, "-c", SERVE, json.dumps(asked)]


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    """A folder of dashboards with one small page, the project's template and a trial file."""
    folder = tmp_path_factory.mktemp("dashboards")
    shutil.copytree(TEMPLATES, folder / "templates")
    cells = [nbformat.v4.new_code_cell(source) for source in (READY, BUILT)]
    notebook = nbformat.v4.new_notebook(cells=cells, metadata={"title": "pwindow"})
    nbformat.write(notebook, folder / LANDING_PAGE)
    (folder / "trial.csv").write_text("print,speed\n1,60\n", encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def server(folder):
    port = free_port()
    asked = command(folder, port, trials=[str(folder / "trial.csv")])
    with run_server(asked, port, folder / "log") as server:
        yield server


def open_page(server) -> str:
    """Open the page as a visitor without a browser does; give the id of its kernel."""
    status, text, _ = ask(server.address, "GET", PAGE)
    assert status == 200
    return re.search(r'"kernelId": "([^"]+)"', text).group(1)


def connect(server, kernel: str, **options) -> websocket.WebSocket:
    options = {"subprotocols": [V1], **options}
    address = server.address.replace("http", "ws", 1)
    return websocket.create_connection(
        f"{address}/api/kernels/{kernel}/channels?session_id={uuid.uuid4().hex}",
        timeout=20,
        **options,
    )


def message(kind: str, content: dict, channel: str) -> dict:
    header = {
        "msg_id": uuid.uuid4().hex,
        "msg_type": kind,
        "session": "visitor",
        "username": "visitor",
        "version": "5.3",
        "date": "2020-01-01T00:00:00Z",
    }
    return {
        "header": header,
        "parent_header": {},
        "metadata": {"version": "2.1.0"},
        "content": content,
        "channel": channel,
        "buffers": [],
    }


def send(socket_: websocket.WebSocket, sent: dict) -> None:
    parts = [json.dumps(sent[name]).encode() for name in ("header", "parent_header", "metadata", "content")]
    socket_.send_binary(serialize_msg_to_ws_v1(parts, sent["channel"]))


def kinds_until(socket_: websocket.WebSocket, awaited: str) -> list[str]:
    """Give the kinds of the messages received up to the awaited one."""
    kinds: list[str] = []
    while awaited not in kinds:
        received = socket_.recv()
        text = received.decode("utf-8", "replace") if isinstance(received, bytes) else received
        kinds.append(re.search(r'"msg_type": ?"(\w+)"', text).group(1))
    return kinds


def execute_request(code: str) -> tuple[str, dict]:
    return "execute_request", {
        "code": code,
        "silent": False,
        "store_history": False,
        "user_expressions": {"x": code},
        "allow_stdin": False,
    }


# What a visitor is given and refused


def test_the_page_comes_with_its_policy_and_without_code(server):
    status, text, headers = ask(server.address, "GET", PAGE)
    assert status == 200
    assert "<title>pwindow</title>" in text
    assert "default-src 'self'" in headers["Content-Security-Policy"]
    assert "wait_for_request" not in text
    outside = re.findall(r'(?:src|href)="((?:https?:)?//[^"]+)"', text)
    assert outside == []


@pytest.mark.parametrize("path", ["/", "/voila/render/missing.ipynb"])
def test_other_pages_are_our_own_and_ask_nobody(server, path):
    _, text, _ = ask(server.address, "GET", path)
    assert "pw-plain" in text
    assert not re.search(r'(?:src|href)="(?:https?:)?//', text)


@pytest.mark.parametrize(
    "path",
    [
        "/voila/files/trial.csv",
        f"/voila/files/{LANDING_PAGE}",
        "/voila/files/templates/voila/templates/pwindow/static/pwindow.css",
        "/voila/files/%2e%2e/trial.csv",
        "/voila/static/../../app.py",
        "/voila/render/trial.csv",
        "/voila/render/..%2fother.ipynb",
        f"/files/{LANDING_PAGE}",
        "/trial.csv",
    ],
)
def test_no_file_can_be_fetched(server, path):
    status, text, headers = ask(server.address, "GET", path)
    while status == 302:
        status, text, headers = ask(server.address, "GET", headers["Location"])
    assert status in (403, 404)
    assert "1,60" not in text and "wait_for_request" not in text


@pytest.mark.parametrize("method", ["GET", "POST", "PUT", "DELETE"])
@pytest.mark.parametrize(
    "path",
    [
        "/api/kernels",
        "/api/sessions",
        "/api/contents",
        "/api/terminals",
        "/api/kernelspecs",
        "/api/kernels/{kernel}/restart",
        "/api/kernels/{kernel}/interrupt",
    ],
)
def test_the_ways_of_a_notebook_server_do_not_exist(server, kernel, method, path):
    assert ask(server.address, method, path.format(kernel=kernel))[0] == 404


@pytest.fixture(scope="module")
def kernel(server) -> str:
    return open_page(server)


def test_another_site_cannot_end_a_kernel(server, kernel):
    path = f"/voila/api/shutdown/{kernel}"
    assert ask(server.address, "POST", path)[0] == 403
    forged = {"Cookie": "_xsrf=aaaa", "X-XSRFToken": "bbbb"}
    assert ask(server.address, "POST", path, headers=forged)[0] == 403
    assert ask(server.address, "GET", f"/api/kernels/{kernel}")[0] == 200


@pytest.mark.parametrize("path", [PAGE, "/", "/api/kernels/{kernel}"])
def test_a_foreign_name_for_this_computer_is_refused(server, kernel, path):
    assert (
        ask(server.address, "GET", path.format(kernel=kernel), headers={"Host": "foreign.example"})[0] == 403
    )


@pytest.mark.parametrize(
    "options",
    [
        {"origin": "http://foreign.example"},
        {"host": "foreign.example"},
        {"origin": "http://foreign.example", "host": "foreign.example"},
    ],
)
def test_a_socket_from_another_origin_is_refused(server, kernel, options):
    with pytest.raises(websocket.WebSocketBadStatusException) as refused:
        connect(server, kernel, **options)
    assert refused.value.status_code == 403
    connect(server, kernel).close()


@pytest.mark.parametrize("channel", ["shell", "control", "stdin", "iopub"])
def test_a_visitor_cannot_run_code(server, kernel, tmp_path, channel):
    mark = tmp_path / "mark"
    code = f"open({str(mark)!r}, 'w').close()"
    asked = [
        execute_request(code),
        (
            "debug_request",
            {"type": "request", "seq": 1, "command": "evaluate", "arguments": {"expression": code}},
        ),
        ("complete_request", {"code": "os.", "cursor_pos": 3}),
        ("inspect_request", {"code": "os", "cursor_pos": 2, "detail_level": 1}),
        ("history_request", {"hist_access_type": "tail", "n": 9, "raw": True, "output": True}),
    ]
    line = connect(server, kernel)
    for kind, content in asked:
        send(line, message(kind, content, channel))
    send(line, message("kernel_info_request", {}, "shell"))
    kinds = kinds_until(line, "kernel_info_reply")
    line.close()
    answers = {kind for kind in kinds if kind.endswith("_reply")}
    assert answers == {"kernel_info_reply"}
    assert not {"execute_input", "execute_result", "error"} & set(kinds)
    assert not mark.exists()


@pytest.mark.parametrize(
    ("target", "module", "model"),
    [
        ("any_target", "", ""),
        ("jupyter.widget", "os", "system"),
        ("jupyter.widget", "builtins", "eval"),
    ],
)
def test_a_comm_opens_nothing_but_known_widgets(server, kernel, target, module, model):
    names = (
        "_model_module",
        "_model_module_version",
        "_model_name",
        "_view_module",
        "_view_module_version",
        "_view_name",
    )
    state = dict(zip(names, (module, "*", model, module, "*", model), strict=True))
    line = connect(server, kernel)
    content = {"comm_id": uuid.uuid4().hex, "target_name": target, "data": {"state": state}}
    send(line, message("comm_open", content, "shell"))
    assert "comm_close" in kinds_until(line, "comm_close")
    line.close()


def test_the_kernel_answers_only_the_comms_of_widgets(server, kernel, folder):
    """A new target would be a new way in: it must be looked at before this list grows."""
    source = READY + "print('targets', sorted(__import__('comm').get_comm_manager().targets))"
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(source)])
    nbformat.write(notebook, folder / "targets.ipynb")
    try:
        _, text, _ = ask(server.address, "GET", "/voila/render/targets.ipynb")
    finally:
        (folder / "targets.ipynb").unlink()
    shown = re.search(r"targets \[(.*?)\]", text).group(1)
    assert set(re.findall(r"jupyter[\w.]+", shown)) == {"jupyter.widget", "jupyter.widget.control"}
    assert shown.count(",") == 1


# How kernels and the server end


def kernel_exists(server, kernel: str) -> bool:
    return ask(server.address, "GET", f"/api/kernels/{kernel}")[0] == 200


def wait_until_quiet(server, span: int) -> None:
    """Wait until the server and its kernels have done next to nothing for `span` seconds."""
    quiet, before = 0, cpu_seconds(server)
    deadline = time.monotonic() + 120
    while quiet < span:
        assert time.monotonic() < deadline, "the kernels kept ready never come to rest"
        time.sleep(1)
        now = cpu_seconds(server)
        quiet = quiet + 1 if now - before < 0.2 else 0
        before = now


def cpu_seconds(server) -> float:
    return sum(process.cpu_times().user for process in server.family())


def test_a_page_that_does_not_come_up_is_loaded_again(page, served):
    lost = []

    def lose(route):
        lost.append(route.request.url)
        route.abort()

    scripts = "**/voila/static/voila.js"
    page.route(scripts, lose)
    page.clock.install()
    page.goto(served + PAGE)
    assert lost
    page.unroute(scripts)
    page.clock.fast_forward(61_000)
    page.locator(".heatmaplayer image").first.wait_for(state="attached")
    assert page.locator("#pw-stopped").is_hidden()


def test_a_page_that_never_comes_up_says_so(page, served):
    page.route("**/voila/static/voila.js", lambda route: route.abort())
    page.clock.install()
    page.goto(served + PAGE)
    with page.expect_navigation():
        page.clock.fast_forward(61_000)
    page.clock.fast_forward(61_000)
    page.get_by_role("alert").filter(has_text="did not come up").wait_for()


def test_idle_kernels_end_but_not_those_kept_ready_or_just_opened(folder):
    """With the times shortened, a kernel kept ready far longer than the limit must last until
    its visitor's browser has connected, and end once the visitor has gone."""
    port = free_port()
    asked = command(ROOT / "dashboards", port, idle_timeout=4, idle_check=1)
    with run_server(asked, port, folder / "log-idle") as server:
        wait_until_quiet(server, 8)
        kernel = open_page(server)
        time.sleep(2)
        assert kernel_exists(server, kernel), "ended between the page and its connection"
        line = connect(server, kernel)
        time.sleep(7)
        assert kernel_exists(server, kernel), "ended under an open page"
        line.close()
        assert wait_until(lambda: not kernel_exists(server, kernel)), "never ended"


@pytest.mark.skipif(os.name != "posix", reason="signals of a terminal")
@pytest.mark.parametrize(("name", "delay"), [("SIGINT", 0.2), ("SIGTERM", 1.0), ("SIGHUP", 2.0)])
def test_a_signal_ends_everything_at_any_moment(folder, name, delay):
    port = free_port()
    with run_server(command(folder, port), port, folder / "log-signal") as server:
        open_page(server)
        time.sleep(delay)  # in which the next kernel is being started
        family = server.family()
        assert len(family) > 1
        server.process.send_signal(getattr(signal, name))
        _, left = psutil.wait_procs(family, timeout=20)
        assert left == []
        assert server.process.returncode == 0
    assert "Traceback" not in server.log.read_text(encoding="utf-8")


# What a browser shows


@pytest.fixture
def shown(server, page):
    """The page in a browser, with the addresses it asked and the errors it reported."""
    page.asked, page.reported = [], []
    page.on("request", lambda request: page.asked.append(request.url))
    page.on("pageerror", lambda error: page.reported.append(str(error)))
    page.on("console", lambda note: note.type == "error" and page.reported.append(note.text))
    return opened(page, server)


def opened(page, server):
    page.goto(server.address + PAGE)
    page.wait_for_selector(PLOTTED, state="attached", timeout=60000)
    return page


def test_the_page_shows_itself_and_asks_no_outside_host(shown, server):
    assert shown.title() == "pwindow"
    assert shown.is_hidden("#pw-working") and shown.is_hidden("#pw-stopped")
    assert shown.locator("text=trial.csv").count() == 1
    web = [address for address in shown.asked if not address.startswith(("data:", "blob:"))]
    assert web and all(address.startswith(server.address) for address in web)
    assert shown.reported == []


def test_the_note_is_there_while_the_kernel_works(server, page):
    page.goto(server.address + PAGE, wait_until="commit")
    page.wait_for_selector("#pw-working", state="visible")
    assert page.inner_text("#pw-working") == "Reading the trial and fitting…"
    page.wait_for_selector("#pw-working", state="hidden", timeout=60000)


def test_sliders_have_names(shown):
    slider = shown.get_by_role("slider", name="Speed drift", exact=True)
    slider.focus()
    shown.keyboard.press("ArrowRight")
    shown.wait_for_function("document.querySelector('.widget-readout').textContent === '1.10'")
    assert shown.locator('[title="null"]').count() == 0


@pytest.mark.parametrize("width", [1280, 1920])
def test_the_page_fits_the_window_and_scrolls_as_a_whole(server, page, width):
    page.set_viewport_size({"width": width, "height": 900})
    page.goto(server.address + PAGE)
    page.wait_for_selector(".js-plotly-plot .scatterlayer", state="attached", timeout=60000)
    root = "document.documentElement"
    assert page.evaluate(f"{root}.scrollWidth <= {root}.clientWidth")
    assert page.evaluate(f"{root}.scrollHeight") > 1500
    plot = page.locator(".js-plotly-plot").bounding_box()["width"]
    assert plot > 0.85 * width


def test_a_picture_of_the_plot_can_be_saved(shown, tmp_path):
    with shown.expect_download() as download:
        shown.get_by_role("button", name="Save picture").click()
    download.value.save_as(tmp_path / "picture.svg")
    assert (tmp_path / "picture.svg").read_text(encoding="utf-8").startswith("<svg")
    assert shown.locator('.modebar-btn[data-title^="Share"]:visible').count() == 0


def test_a_large_file_arrives(shown, tmp_path):
    size = 30_000_000
    (tmp_path / "large.csv").write_bytes(b"x" * size)
    with shown.expect_file_chooser() as chooser:
        shown.get_by_role("button", name="Trial file").click()
    chooser.value.set_files(tmp_path / "large.csv")
    shown.wait_for_selector(f"text=received {size} bytes", timeout=60000)
    assert shown.is_hidden("#pw-stopped")


def test_a_stopped_session_is_said_and_reloading_mends_it(server, page):
    opened(page, server).get_by_role("button", name="End the kernel").click()
    bar = page.get_by_role("alert")
    bar.wait_for(state="visible", timeout=30000)
    assert "has stopped" in bar.inner_text()
    bar.get_by_role("button", name="Reload").click()
    page.wait_for_selector(PLOTTED, state="attached", timeout=60000)
    assert page.is_hidden("#pw-stopped")


def test_a_page_whose_session_is_gone_before_it_is_shown_says_so(server, page):
    other = re.compile("/api/kernels/[^/?]+[?]")
    page.route(
        other,
        lambda route: route.continue_(url=re.sub(other, f"/api/kernels/{uuid.uuid4()}?", route.request.url)),
    )
    page.goto(server.address + PAGE)
    bar = page.get_by_role("alert")
    bar.wait_for(state="visible", timeout=60000)
    assert "ended before the page could be shown" in bar.inner_text()
    page.unroute(other)
    bar.get_by_role("button", name="Reload").click()
    page.wait_for_selector(PLOTTED, state="attached", timeout=60000)


def test_leaving_the_page_ends_its_kernel(server, page):
    used = json.loads(opened(page, server).text_content("#jupyter-config-data"))["kernelId"]
    assert kernel_exists(server, used)
    page.goto("about:blank")
    assert wait_until(lambda: not kernel_exists(server, used))


def test_a_lost_server_is_said(folder, page):
    port = free_port()
    with run_server(command(folder, port), port, folder / "log-lost") as server:
        page.goto(server.address + PAGE)
        page.wait_for_selector(".js-plotly-plot .scatterlayer", state="attached", timeout=60000)
    bar = page.get_by_role("alert")
    bar.wait_for(state="visible", timeout=30000)
    assert re.search("lost|stopped", bar.inner_text())
