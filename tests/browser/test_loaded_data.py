"""A visitor's own data on every page, in a real browser."""

from __future__ import annotations

import pandas as pd
import pytest

from pwindow.shipped import demo
from tests.helpers.words import plain

pytestmark = pytest.mark.slow

RENDER = "/voila/render/"
PATIENCE = 150_000  # ms


@pytest.fixture
def nip(tmp_path):
    """A trial with pressures of 4 to 8 N/mm, and its product."""
    rows = pd.read_csv(demo("trial_first.csv"), dtype={"roll": str})
    rows["pressure [N/mm]"] = 4 + (rows.pop("pressure [um]") - 20) / 15
    rows.to_csv(tmp_path / "nip.csv", index=False)
    product = demo("tag.toml").read_text(encoding="utf-8").replace("Grain moisture tag", "Nip tag")
    (tmp_path / "nip.toml").write_text(product.replace('"5 µm"', '"0.2 N/mm"'), encoding="utf-8")
    return tmp_path / "nip.csv", tmp_path / "nip.toml"


def upload(page, path) -> None:
    with page.expect_file_chooser() as waiting:
        page.get_by_role("button", name="Load trial").click()
    waiting.value.set_files(path)


def link(page, title: str) -> str:
    return page.locator(".pw-top nav a", has_text=title).evaluate("one => one.href")


def test_a_trial_in_another_unit_and_then_its_product(page, context, served, nip):
    """The demo's 50 µm lie beyond the ends that the slider of the pressure gets."""
    page.goto(f"{served}{RENDER}set-up-speed.ipynb")
    page.locator(".heatmaplayer image").first.wait_for(state="attached", timeout=PATIENCE)
    upload(page, nip[0])
    page.locator(".pw-big", has_text="Load a product").wait_for(timeout=PATIENCE)
    upload(page, nip[1])
    page.locator(".gtitle", has_text="Nip tag · plate laser-imaged").wait_for(timeout=PATIENCE)
    page.wait_for_timeout(1500)  # what the browser might answer has arrived
    answer, looked_at = page.locator(".pw-setting").inner_text(), page.locator(".pw-selected")
    pressure = page.get_by_role("textbox", name="Pressure, N/mm, value").input_value()
    assert f"{pressure} N/mm" in plain(answer) and f"{pressure} N/mm" in plain(looked_at.inner_text())
    assert pressure != "8", "the clamped end is not the recommended one"
    assert f"pressure {pressure} N/mm" in page.locator(".gtitle").text_content()
    with page.expect_download(timeout=PATIENCE) as saved:
        page.get_by_role("button", name="Save the picture (SVG)").click()
    assert f"Nip tag · plate laser-imaged · pressure {pressure} N/mm" in saved.value.path().read_text(
        encoding="utf-8"
    )
    assert "data=" in page.url and page.url.split("?")[1] == link(page, "New trial data").split("?")[1]
    page.goto(link(page, "Trade-offs"))
    page.locator(".pw-evidence", has_text="nip.csv").wait_for(timeout=PATIENCE)
    page.locator(".js-plotly-plot").first.wait_for(timeout=PATIENCE)
    assert page.get_by_label("Product").input_value() and "data=" in page.url
    other = context.browser.new_context().new_page()
    other.set_default_timeout(PATIENCE)
    other.goto(page.url.split("?")[0])
    other.locator(".pw-evidence", has_text="trial_first.csv").wait_for(timeout=PATIENCE)
    other.context.close()


def test_new_trial_data_works_without_an_archive(page, served):
    page.goto(f"{served}{RENDER}new-trial-data.ipynb")
    page.locator(".pw-evidence", has_text="deleted when the server stops").wait_for(timeout=PATIENCE)
    assert page.get_by_text("2 trials, 1 used in fits").count()
    page.get_by_role("button", name="Compare with the other trials").click()
    page.locator(".pw-big", has_text="Does not agree").wait_for(timeout=PATIENCE)
