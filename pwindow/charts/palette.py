"""One family of pictures: the colours and type that all charts share."""

INK = "#22252b"
QUIET = "#8b9099"
FAINT = "#d9dce1"
PAPER = "#ffffff"
MARK = "#c2410c"
SCALE = "Cividis"
ROLLS = ("#0b1230", "#5c1a3a", "#17578c", "#8060b4", "#3f9f8b", "#cdb05a")
"""Dark to light, so that they are told apart without colour too."""
FONT = "system-ui, -apple-system, 'Segoe UI', 'DejaVu Sans', sans-serif"
LOOK = {
    "template": "none",
    "paper_bgcolor": PAPER,
    "plot_bgcolor": PAPER,
    "showlegend": False,
}
