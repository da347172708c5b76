"""The card: one A4 sheet to pin up beside the launcher, as HTML or PDF.

content.py   what it says, as text and tables     html.py, pdf.py   the same as files
"""

from stager.report.card.content import Card, build_card

__all__ = ["Card", "build_card"]
