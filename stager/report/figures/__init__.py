"""Pictures of results: each a drawing, words for those who cannot see it, and a table with the same numbers.

picture.py   what a picture is; matplotlib, lazily     palette.py   colours by what they mean
drawing.py   plain shapes to scale, as SVG or on matplotlib axes
of_*.py      one module for each result: functions from it to a picture, or None where it does not hold it
"""

from stager.report.figures.picture import Picture

__all__ = ["Picture"]
