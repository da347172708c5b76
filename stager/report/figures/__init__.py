"""Pictures of results: each a drawing, a description in words, and a table with the same numbers.

picture.py   the class Picture; the only module that uses matplotlib, lazily     palette.py   colours by meaning
of_*.py      pictures of one kind of result each (launcher, throw and sweep, plan, fit); None where the result does
             not have what they show
"""

from stager.report.figures.picture import Picture

__all__ = ["Picture"]
