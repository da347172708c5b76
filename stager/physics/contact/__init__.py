"""The contact kernel: one throw through a chain of stages, in scalar Python that numba compiles.

    columns.py    columns of the kernel's arrays
    equations.py  friction and normal force, forces of wheel, rail and idler at one place, and their derivatives
    integrate.py  one step of the linearly implicit method; error control, jams, extremes, energies
    run.py        a throw from stage to stage: set-up, free runs, records of the stages; a launcher as the kernel's
                  arrays; many throws on several threads

The independent variable is the place along the barrel. The creep term, stiff near equal speeds, is implicit.
"""
