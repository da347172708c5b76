"""The table of measured throws: a CSV file with units in its heads.

throws.py   the record of throws, and surface speeds from its columns
reader.py   columns by their heads, units, numbers as spreadsheets write them, uncertainties in comments; read a file
            into the record and report all its problems at once
writer.py   a table that throws are added to, line by line; a throw as it is typed, and whether it is plausible
"""

from stager.fit.table.reader import read, read_settings
from stager.fit.table.throws import Throws

__all__ = ["Throws", "read", "read_settings"]
