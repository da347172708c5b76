"""The self-contained page.

render.py   templates to HTML     views.py   what the templates show     gallery.py   figures by section
inputs.py   the configuration as read     whatif.py   tables that answer while sliders move
templates/  page.html and its parts, screen.html for notebooks, page.css, whatif.js
"""

from stager.report.page.gallery import figures
from stager.report.page.render import page

__all__ = ["figures", "page"]
