"""``python -m pwindow``."""

from pwindow.cli import main

main(prog_name="pwindow")
