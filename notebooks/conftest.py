"""Strict comparison of the stored text; pictures are for people and are not compared."""


def pytest_collectstart(collector):
    """Tell nbval which kinds of output to pass over; LaTeX says the same as the text beside it."""
    if hasattr(collector, "skip_compare"):
        collector.skip_compare += ("image/svg+xml", "text/latex")
