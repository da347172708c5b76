"""The throws table: a spreadsheet's export with units in its heads.

columns  units that heads may name, what each column is, numbers as spreadsheets write them
throws   the record of throws, and its wheel speeds     reader   a file to a record, all problems at once
book     a table that grows at a bench                  entry    a throw as it is typed
"""

from stager.fit.table.reader import read, read_settings
from stager.fit.table.throws import Throws

__all__ = ["Throws", "read", "read_settings"]
