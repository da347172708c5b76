"""How many stages, how fast each wheel, and whether one more is worth it.

span.py, grip.py             how fast a wheel may turn; the speed past which it only slips
stage_map.py, chain_map.py   maps of stages and chains, quick to search; joint.py: chains that no map can tell
way.py, spun.py, making.py    wheels alike, or apart for the spin that is asked for
trust.py, solve.py           maximising under limits; the best settings of a chain
settle.py, climb.py          the same in the true model; for every number of stages
choose.py, ladder.py         which one it is; what each stage adds
"""
