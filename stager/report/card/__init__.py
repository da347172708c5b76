"""The card: one A4 sheet to pin up beside the launcher, as HTML or PDF.

content.py   what it says, as text and tables     sheet.py   the same as HTML or PDF
"""

from stager.report.card.content import Card, build_card

__all__ = ["Card", "build_card"]
