"""The table of measured throws: a CSV file with units in its heads.

columns.py  columns by their heads, units, numbers as spreadsheets write them, uncertainties in comments
throws.py   the record of throws, and surface speeds from its columns
reader.py   read a file into the record and report all its problems at once
writer.py   a table that throws are added to, line by line
entry.py    a throw as it is typed, and checks of its plausibility
"""

from stager.fit.table.reader import read, read_settings
from stager.fit.table.throws import Throws

__all__ = ["Throws", "read", "read_settings"]
