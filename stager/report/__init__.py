"""Results → plain rows → text, JSON. Nothing here prints, writes files or computes physics.

`table`    what a screen is made of: headline, tables of text cells, notes
`digits`   numbers as people read them
`answer`   what a command hands back: screen, JSON document, yes or no
`document` plain data that JSON can hold; provenance
`terminal` screens as rich renderables
and one module for each kind of result.
"""
