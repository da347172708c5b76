"""Line numbers of keys in every TOML notation."""

from __future__ import annotations

from stager.config.toml import key_lines, line_of

TEXT = '''\
# a comment with [brackets]
"a key" = 1

points = [
  "[not.a.head]",
  2,  # [[nor.this]]
]
story = """
[still.no.head]
x = 1
"""
[a.b]   # a head
c.d = 1
"e.f" = {g = 1, h = [1, {i = 2}]}
[[list]]
x = 1
[list.inner]
y = 2
[[list]]
[[list.deep]]
z = 3
[[list.deep]]
[a]
k = 1
'''
LINES = {
    ("a key",): 2, ("points",): 4, ("points", 1): 4, ("story",): 8, ("a",): 12, ("a", "b"): 12,
    ("a", "b", "c", "d"): 13, ("a", "b", "e.f", "h", 1, "i"): 14, ("list",): 15, ("list", 0): 15, ("list", 0, "x"): 16,
    ("list", 0, "inner"): 17, ("list", 0, "inner", "y"): 18,
    ("list", 1): 19, ("list", 1, "deep", 0, "z"): 21, ("list", 1, "deep", 1): 22,
    ("a", "k"): 24,
}  # fmt: skip


def test_line_of_each_key() -> None:
    found = key_lines(TEXT)
    assert {path: found[path] for path in LINES} == LINES


def test_missing_key_has_the_line_of_its_table() -> None:
    found = key_lines(TEXT)
    assert line_of(found, ("list", 1, "deep", 0, "q", "r")) == 20
    assert line_of(found, ("nowhere",)) == 1
