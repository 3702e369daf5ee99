"""Process windows for printed conductive lines and gaps: trial → surfaces → window → picture.

>>> import pwindow as pw
>>> trial = pw.read_trial(pw.demo("trial_first.csv"))
>>> trial
<Trial trial_first.csv: 65 prints in 18 make-readies, pressure in µm>
"""

from typing import TYPE_CHECKING

from pwindow.names import loading
from pwindow.shipped import __version__, demo

if TYPE_CHECKING:
    from pwindow import charts, review
    from pwindow.panels.set_up_speed.dashboard import dashboard
    from pwindow.product import Product, read_product
    from pwindow.review.picture import map_of
    from pwindow.study import Study, read_study
    from pwindow.surfaces import Surfaces, fit
    from pwindow.trials import Trial, read_trial
    from pwindow.window import Window, find_window

__all__ = [
    "Product",
    "Study",
    "Surfaces",
    "Trial",
    "Window",
    "__version__",
    "charts",
    "dashboard",
    "demo",
    "find_window",
    "fit",
    "map_of",
    "read_product",
    "read_study",
    "read_trial",
    "review",
]

# commands start, and can be ended, within a blink
__getattr__ = loading(
    __name__,
    {
        "Product": "pwindow.product",
        "Study": "pwindow.study",
        "Surfaces": "pwindow.surfaces",
        "Trial": "pwindow.trials",
        "Window": "pwindow.window",
        "charts": "pwindow.charts",
        "dashboard": "pwindow.panels.set_up_speed.dashboard",
        "find_window": "pwindow.window",
        "fit": "pwindow.surfaces",
        "map_of": "pwindow.review.picture",
        "read_product": "pwindow.product",
        "read_study": "pwindow.study",
        "read_trial": "pwindow.trials",
        "review": "pwindow.review",
    },
)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
