"""The self-contained HTML page of `stager report`.

content.py  data of a report, answer of the command, texts and tables for the templates
render.py   figures by section, templates to HTML     whatif.py   sliders and their packed tables
templates/  page.html and its parts, sheet.html of the card, screen.html for notebooks, style sheets, whatif.js
"""

from stager.report.page.render import figures, page

__all__ = ["figures", "page"]
