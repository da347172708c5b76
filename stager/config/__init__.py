"""The configuration file: the only place that knows pydantic.

field_types.py  units, ranges, examples    tables.py         the tables        checks.py   what must fit together
load.py         read a file                errors.py, problem.py, unknown_keys.py   what is wrong, and where
build.py        to hardware records        configuration.py  quantities by key  draws.py    draws that a fit left
save.py         write one back             scaffold.py       a first file       schema.py   JSON Schema for editors
"""

from stager.config.configuration import Configuration, crush_ranges, crush_values
from stager.config.load import load, understand
from stager.config.save import save, with_values
from stager.config.schema import schema_json

__all__ = ["Configuration", "crush_ranges", "crush_values", "load", "save", "schema_json", "understand", "with_values"]
