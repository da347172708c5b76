"""The self-contained page.

html.py     elements, escaping everything      blocks.py   tables, figures with table twins, sections
answer.py, card.py, rate.py, measured.py, inputs.py        the parts      gallery.py   which figures there are
whole.py    the page      page.css   its looks: light, dark, phone, print
"""

from stager.report.page.gallery import every as pictures
from stager.report.page.whole import page

__all__ = ["page", "pictures"]
