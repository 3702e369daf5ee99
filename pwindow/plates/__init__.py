"""What a plate becomes of its artwork, by plate process."""

from pwindow.plates.artwork import DrawnArtwork, PrintedWidth, artwork_for
from pwindow.plates.depths import compared
from pwindow.plates.making import PlateMaking, ProcessMaking, plate_making

__all__ = [
    "DrawnArtwork",
    "PlateMaking",
    "PrintedWidth",
    "ProcessMaking",
    "artwork_for",
    "compared",
    "plate_making",
]
