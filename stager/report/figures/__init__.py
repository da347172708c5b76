"""Pictures of results: each a drawing, words for those who cannot see it, and a table with the same numbers.

picture.py   what a picture is, and how it is shown and kept     palette.py, backend.py   colours; matplotlib, lazily
drawing.py   plain shapes to scale, as SVG or on matplotlib axes launcher.py          the launcher as such shapes
and one module for each idea: a function from results to a picture, or None where they do not hold it.
"""

from stager.report.figures.picture import Picture

__all__ = ["Picture"]
