"""The server of the pages: Voila with its own routes, so that one visitor cannot stop the others.

It is started by `pwindow serve` as a process of its own. Nothing here knows what a page shows.
"""
