"""The contact kernel: one throw through stages in a row, in plain scalar Python that numba compiles.

    columns.py    what stands where in the kernel's arrays
    profile.py    normal force and tilt along the barrel: round shapes, rods
    equations.py  forces at one place, and how they change along the way
    integrate.py  one step of the linearly implicit method, error control, jams, extremes, energies
    stages.py     from piece to piece and stage to stage: marks, free runs, records
    run.py        a launcher as the kernel's arrays; many throws, on several threads

Speeds are integrated along the barrel, with the place as independent variable; the creep term, stiff near equal speeds,
is implicit.
"""
