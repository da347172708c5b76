"""The self-contained HTML page of `stager report`.

data.py     data of a report, answer of the command     views.py   texts and tables for the templates
gallery.py  figures by section     render.py   templates to HTML     whatif.py   tables behind the sliders
templates/  page.html and its parts, screen.html for notebooks, page.css, whatif.js
"""

from stager.report.page.gallery import figures
from stager.report.page.render import page

__all__ = ["figures", "page"]
