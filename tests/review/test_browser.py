"""Pages and pictures that a browser writes; what is said where it, or the library for it, is missing."""

import os
import sys

import pytest

from pwindow.review.browser import _arguments, pdf_of


def test_a_missing_library_is_asked_for_by_what_is_ours_to_name(monkeypatch):
    """On the package index the name pwindow is anybody's: only this checkout may be installed by it."""
    monkeypatch.setitem(sys.modules, "playwright.sync_api", None)
    with pytest.raises(Exception, match="need the library Playwright") as refused:
        pdf_of("<p>Nothing</p>")
    assert 'pip install -e ".[pdf]"' in str(refused.value) and "pwindow[" not in str(refused.value)


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="no root here")
def test_the_browsers_sandbox_is_off_for_root_alone(monkeypatch):
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    assert "--no-sandbox" not in _arguments()
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    assert "--no-sandbox" in _arguments()
