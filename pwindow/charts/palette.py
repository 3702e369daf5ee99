"""One family of pictures: the colours and type that all charts share."""

INK = "#22252b"
QUIET = "#8b9099"
FAINT = "#d9dce1"
PAPER = "#ffffff"
MARK = "#c2410c"
SCALE = "Cividis"
ROLLS = ("#0a1029", "#5c1a3a", "#14528a", "#8263b3", "#3a9984", "#c3a550")
"""Dark to light, so that they are told apart without colour too."""
FONT = "system-ui, -apple-system, 'Segoe UI', 'DejaVu Sans', sans-serif"
LOOK = {
    "template": "none",
    "paper_bgcolor": PAPER,
    "plot_bgcolor": PAPER,
    "showlegend": False,
}
