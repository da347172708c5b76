"""The configuration file: the only place that knows pydantic.

types.py    kinds of values      tables.py, machine.py   the tables      checks.py   what must fit together
load.py     read a file          lines.py, errors.py …   what is wrong, and where
values.py   quantities by key    build.py, wheels.py     to hardware records
save.py     write one back       schema.py               JSON Schema for editors
"""

from stager.config.configuration import Configuration
from stager.config.crush import crush_ranges, crush_values
from stager.config.load import load, understand
from stager.config.save import save, with_values
from stager.config.schema import schema_json

__all__ = ["Configuration", "crush_ranges", "crush_values", "load", "save", "schema_json", "understand", "with_values"]
