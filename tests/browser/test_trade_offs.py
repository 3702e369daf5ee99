"""A design review on the page of trade-offs, in a real browser."""

from pathlib import Path

PAGE = "/voila/render/trade-offs.ipynb"
PATIENCE = 60_000  # ms


def visit(page, address):
    page.goto(address)
    page.locator(".js-plotly-plot").nth(1).wait_for(timeout=PATIENCE)
    return page


def test_from_a_pinned_set_up_to_its_report_and_a_link(page, context, served):
    visit(page, served + PAGE)
    page.locator(".pw-big", has_text="95.1 %").wait_for(timeout=PATIENCE)
    speed = page.get_by_role("slider", name="Speed, m/min")
    speed.focus()
    for _ in range(10):
        page.keyboard.press("ArrowLeft")
    page.get_by_text("roll 2047, 50 µm, 97.8 m/min").first.wait_for(timeout=PATIENCE)
    page.get_by_role("button", name="Pin this set-up").click()
    page.get_by_text("first: roll 2047, 50 µm, 97.8 m/min").wait_for(timeout=PATIENCE)
    speed.focus()
    page.keyboard.press("ArrowRight")
    page.get_by_text("roll 2047, 50 µm, 97.9 m/min").first.wait_for(timeout=PATIENCE)
    page.get_by_role("button", name="What if we had this roll?").click()
    page.locator(".pw-answer", has_text="new 1 (planned)").wait_for(timeout=PATIENCE)
    page.get_by_role("button", name="Make the report").click()
    with page.expect_download(timeout=PATIENCE) as saved:
        page.get_by_role("link", name="Save the report").click()
    report = Path(saved.value.path()).read_text(encoding="utf-8")
    assert saved.value.suggested_filename == "review.html"
    assert "97.8 m/min" in report and "Grain moisture tag" in report
    other = visit(context.new_page(), page.url)
    other.get_by_text("first: roll 2047, 50 µm, 97.8 m/min").wait_for(timeout=PATIENCE)
    for shown in (".pw-answer", ".pw-results table"):
        assert other.locator(shown).first.inner_text() == page.locator(shown).first.inner_text()
