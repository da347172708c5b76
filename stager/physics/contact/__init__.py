"""The contact kernel: one throw through stages in a row, in plain scalar Python that numba compiles.

    columns.py    what stands where in the kernel's arrays
    profile.py    normal force and tilt along the barrel: round shapes, rods
    equations.py  forces at one place, and how they change along the way
    scheme.py     coefficients of the linearly implicit method
    step.py       one step of it, with energy accumulators
    march.py      steps through a smooth piece of the way: error control, jams, extremes
    stages.py     from piece to piece and stage to stage: marks, free runs, records
    packing.py    a launcher as the kernel's arrays
    run.py        many throws, on several threads

Speeds are integrated along the barrel, with the place as independent variable; the creep term, stiff near equal speeds,
is implicit.
"""
