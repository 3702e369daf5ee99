"""What is decided before a server is started."""

import json
import os
import socket
import subprocess
import sys
import tempfile

import pytest

from pwindow.cli import serving
from pwindow.cli.server_settings import (
    LANDING_PAGE,
    chosen_password,
    exposure_caution,
    kernel_transport,
    offer_figures,
    page_address,
    pages,
    serve_command,
    serve_environment,
    voila_config,
)
from pwindow.environment import FIGURES_SERVED


def test_only_loopback_goes_without_a_caution():
    assert exposure_caution("127.0.0.1") is None
    assert exposure_caution("::1") is None
    for host in ("0.0.0.0", "::", "192.0.2.7", "press-office"):
        assert host in exposure_caution(host)
        assert "change the archive" in exposure_caution(host) and "--password" in exposure_caution(host)
    assert "change the archive" in exposure_caution("0.0.0.0", password=True)
    assert "not encrypted" in exposure_caution("0.0.0.0", password=True)


def test_a_port_asked_for_and_taken_is_an_error():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(serving.ServingProblem, match=rf"port {port}: .*--port"):
            serving.choose_port("127.0.0.1", port)


def test_a_usual_port_that_is_taken_gives_way(monkeypatch):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        monkeypatch.setattr(serving, "USUAL_PORT", taken.getsockname()[1])
        chosen = serving.choose_port("127.0.0.1", None)
        assert chosen not in (0, taken.getsockname()[1])


def test_an_impossible_port_is_an_error():
    with pytest.raises(serving.ServingProblem, match="cannot listen"):
        serving.choose_port("127.0.0.1", 70000)


def test_the_environment_carries_the_files_and_nothing_stale(tmp_path):
    base = {"PWINDOW_TRIAL": "stale", "JUPYTER_PATH": "before", "no_proxy": "intranet"}
    files = [tmp_path / "a.csv", tmp_path / "b.csv"]
    given = serve_environment(tmp_path, files, base=base)
    assert given["PWINDOW_TRIAL"].split(os.pathsep) == [str(file) for file in files]
    assert given["JUPYTER_PATH"].split(os.pathsep) == [str(tmp_path / "templates"), "before"]
    assert given["no_proxy"] == "127.0.0.1,localhost,intranet"
    assert "PWINDOW_TRIAL" not in serve_environment(tmp_path, base=base)


def test_a_password_is_the_users_or_a_long_one_and_reaches_no_kernel(tmp_path):
    assert chosen_password({"PWINDOW_PASSWORD": "three plain words"}) == ("three plain words", False)
    first, second = (chosen_password({})[0] for _ in range(2))
    assert first != second and len(first) >= 22, "128 random bits"
    assert "PWINDOW_PASSWORD" not in serve_environment(tmp_path, base={"PWINDOW_PASSWORD": "x"})
    assert page_address("0.0.0.0", 80, token=first).endswith(f"ipynb?token={first}")
    assert voila_config(tmp_path, host="0.0.0.0", port=80, password="x")["Voila"]["token"] == "x"
    assert voila_config(tmp_path, host="0.0.0.0", port=80)["Voila"]["token"] == ""


def test_ten_may_visit_at_once_unless_told_otherwise(tmp_path):
    def limit(**asked):
        return voila_config(tmp_path, host="localhost", port=80, **asked)["PageServer"]["most_visitors"]

    assert limit() >= 10 and limit(most_visitors=3) == 3


@pytest.mark.slow
def test_a_temporary_folder_with_a_long_name_is_no_place_for_sockets(monkeypatch):
    monkeypatch.setattr(sys, "platform", "linux")
    for name, transport in (("/tmp", "ipc"), ("/tmp/" + "x" * 60, "tcp")):
        monkeypatch.setattr(tempfile, "tempdir", name)
        assert kernel_transport() == transport


def test_the_server_itself_stays_light():
    heavy = "{'numpy', 'pandas', 'scipy', 'sklearn', 'plotly', 'ipywidgets'}"
    code = f"import sys, pwindow.server.app; print({heavy} & set(sys.modules))"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=120, check=True
    )
    assert done.stdout.strip() == "set()"


def test_a_missing_page_is_named(tmp_path):
    with pytest.raises(serving.ServingProblem, match=LANDING_PAGE):
        serving.serve(tmp_path, open_browser=False)


def test_pages_come_in_their_order_with_their_titles(tmp_path):
    def page(name, **metadata):
        (tmp_path / name).write_text(json.dumps({"metadata": metadata}), encoding="utf-8")

    page("a-page-of-ones-own.ipynb")
    page("new-trial-data.ipynb", title="New trial data")
    page("set-up-speed.ipynb", title="Set-up speed")
    found = pages(tmp_path)
    assert [page["file"] for page in found] == [
        "set-up-speed.ipynb",
        "new-trial-data.ipynb",
        "a-page-of-ones-own.ipynb",
    ]
    assert [page["title"] for page in found] == ["Set-up speed", "New trial data", "A page of ones own"]


def test_the_drawing_code_lies_where_the_template_finds_it(tmp_path):
    offer_figures(tmp_path / "figures")
    file = tmp_path / "figures" / "voila" / "templates" / "pwindow" / "static" / "figures.js"
    assert file.stat().st_size > 1_000_000 and "as FigureView" in file.read_text(encoding="utf-8")
    given = serve_environment(tmp_path, base={FIGURES_SERVED: "stale"})
    assert FIGURES_SERVED not in given
    given = serve_environment(tmp_path, base={}, figures=tmp_path / "figures")
    assert given["JUPYTER_PATH"].split(os.pathsep)[0] == str(tmp_path / "figures") and given[FIGURES_SERVED]


def test_no_file_of_the_users_folder_stands_in_for_a_module(tmp_path):
    (tmp_path / "voila.py").write_text("raise SystemExit('a file of the folder was run')", encoding="utf-8")
    *command, _ = serve_command(tmp_path)
    asked = subprocess.run(
        [*command, "--version"], cwd=tmp_path, env=serve_environment(tmp_path), capture_output=True, text=True
    )
    assert asked.returncode == 0, asked.stderr
