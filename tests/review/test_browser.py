"""Pages and pictures that a browser writes; what is said where it, or the library for it, is missing."""

import sys

import pytest

from pwindow.review.browser import pdf_of


def test_a_missing_library_is_asked_for_by_what_is_ours_to_name(monkeypatch):
    """On the package index the name pwindow is anybody's: only this checkout may be installed by it."""
    monkeypatch.setitem(sys.modules, "playwright.sync_api", None)
    with pytest.raises(Exception, match="need the library Playwright") as refused:
        pdf_of("<p>Nothing</p>")
    assert 'pip install -e ".[pdf]"' in str(refused.value) and "pwindow[" not in str(refused.value)
