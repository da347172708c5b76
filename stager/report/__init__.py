"""Results → plain rows → text, JSON. Nothing here prints, writes files or computes physics.

answer.py     what a command answers: screen of headline, tables and notes; document for JSON; yes or no
numbers.py    numbers as people read them     plot.py   pictures of plain characters
terminal.py   screens as text, in a terminal, in ASCII, in a notebook
check, throw, sweep, plan, ladder, fit, compare, next_throws, bench, listen, explain, written   answers, one a command
limits, drives, flight, predictions, alternatives   parts that several answers share
figures/      pictures     page/   the HTML report     card/   the sheet to pin up     plate.py   the side plate
"""
