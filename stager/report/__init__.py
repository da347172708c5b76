"""Results as screens and JSON documents. Nothing here prints, writes files or computes physics.

answer.py     the answer of a command: screen (headline, tables, notes), document for JSON, yes or no
numbers.py    numbers as text
terminal.py   renders screens: terminal, ASCII, HTML and plain text for notebooks; text pictures
check, throw, fit, compare, listen, explain   one a command     plan   `plan` and `worth`     bench   `bench`, `next`
limits, alternatives   parts that several answers share, as are drives (with `motor`), predictions (with `sweep`)
              and flight (with hazards)
figures/      pictures     page/   the HTML report     card.py   the sheet to pin up     plate.py   the side plate
"""
