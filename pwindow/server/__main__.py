"""``python -m pwindow.server``: what `pwindow serve` starts."""

from pwindow.server.app import PageServer

if __name__ == "__main__":
    PageServer.launch_instance()
