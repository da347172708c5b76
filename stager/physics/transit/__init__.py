"""One integrator for every contact: sides press and rub, a linearly implicit method steps along the barrel.

    lanes.py       flat arrays, one lane a throw; scalars stay scalars
    profile.py     normal force and tilt along the barrel: round shapes, rods
    sides.py       friction force of each side, and its derivative by slip
    equations.py   right side in position, books included, and the linear solve that makes a step implicit
    rosenbrock.py  one step of order 4(3)
    march.py       steps along a segment: error control, jams, peaks
    group.py       nips that act together, cut into smooth segments

Works with v in position; the creep term, stiff near sync, is implicit.
"""
