"""Results as screens and JSON documents. Nothing here prints, writes files or computes physics.

answer.py     the answer of a command: screen (headline, tables, notes), document for JSON, yes or no
numbers.py    numbers as text     plot.py   text pictures
terminal.py   renders screens: terminal, ASCII, HTML and plain text for notebooks
check, throw, sweep, plan, ladder (`worth`), fit, compare, next_throws, bench, listen, explain   one a command
limits, drives, flight, safety, predictions, alternatives   parts that several answers share
figures/      pictures     page/   the HTML report     card/   the sheet to pin up     plate.py   the side plate
"""
