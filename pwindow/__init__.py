"""Process windows for printed conductive lines and gaps: trial → surfaces → window → picture.

>>> import pwindow as pw
>>> trial = pw.read_trial(pw.demo("trial_first.csv"))
>>> len(trial.prints)
65
"""

from pwindow.demo import demo
from pwindow.product import Product, read_product
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
    "demo",
    "find_window",
    "fit",
    "read_product",
    "read_study",
    "read_trial",
]
