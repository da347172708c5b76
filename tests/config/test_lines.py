"""Lines of keys, however they are written."""

from __future__ import annotations

from stager.config.problem import key_lines, line_of

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


def test_lines_of_keys() -> None:
    found = key_lines(TEXT)
    assert {path: found[path] for path in LINES} == LINES


def test_what_is_not_there_has_the_line_of_what_is_around_it() -> None:
    found = key_lines(TEXT)
    assert line_of(found, ("list", 1, "deep", 0, "q", "r")) == 20
    assert line_of(found, ("nowhere",)) == 1


def test_long_files_take_no_longer_than_they_are_long() -> None:
    text = "".join(f"[t{n}]\nx = 1\ny = [\n1,\n]\n" for n in range(2000))
    assert key_lines(text)["t1999", "y"] == 9998
