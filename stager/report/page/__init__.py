"""The self-contained page.

data.py     what the page tells of a launcher     views.py   what the templates show     gallery.py   figures by section
render.py   templates to HTML, the configuration as read     whatif.py   tables that answer while sliders move
templates/  page.html and its parts, screen.html for notebooks, page.css, whatif.js
"""

from stager.report.page.gallery import figures
from stager.report.page.render import page

__all__ = ["figures", "page"]
