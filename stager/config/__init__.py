"""The configuration file: tables, checks, reading and writing. pydantic is used here only.

field_types.py    types of values: unit, range, example
tables.py         the tables, as pydantic models
toml.py           TOML as text: lines of keys, values written out
errors.py         problems of a file, with lines and hints
csv_tables.py     lists of one's own parts and posterior draws, CSV tables beside a configuration
load.py           read a file into a `Configuration`, with checks across several keys
configuration.py  a checked configuration: launcher, limits and goal, and its quantities by key
save.py           change the text of a configuration and write it
scaffold.py       a first configuration from a few answers
schema.py         JSON Schema for editors
"""

from stager.config.configuration import Configuration, ranges, variable_values
from stager.config.load import load, understand
from stager.config.save import save, with_values
from stager.config.schema import schema_json
from stager.config.toml import show_value

__all__ = [
    "Configuration", "load", "variable_values", "ranges", "save", "schema_json", "show_value", "understand",
    "with_values",
]  # fmt: skip
