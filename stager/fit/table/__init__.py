"""The throws table: a spreadsheet's export with units in its heads.

units.py   units that heads may name      heads.py   what each column is
cells.py   numbers as spreadsheets write them
reader.py  a file to a record, all problems at once      record.py   the record, and its wheel speeds
"""

from stager.fit.table.reader import read
from stager.fit.table.record import Throws

__all__ = ["Throws", "read"]
