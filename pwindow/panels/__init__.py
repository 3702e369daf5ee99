"""Widgets: state in, figures out; no statistics here."""

import sys

# plotly's notebook renderer imports a validator that builds dozens of grammars, seconds of work, for
# checks that no figure needs.
sys.modules.setdefault("rfc3987_syntax", None)

from pwindow.panels.set_up_speed import set_up_speed  # noqa: E402

__all__ = ["set_up_speed"]
