"""Learning from measured throws.

table/        a spreadsheet's export to a record          statistics/    what knows nothing of throws
priors.py, laws.py, forward.py     what is not known, which friction laws could be, what the model says
search.py, posterior.py            best fit and draws      fitting.py     all of it: `fit`
parameters.py, confounded.py       what the data have told, and what they cannot
draws.py, tuning.py, prediction.py launchers that could be; how to set them; stages that are not built yet
points.py                          throws beside what is expected of them
comparing.py, explaining.py        two builds              drifting.py    trend within a session
deciding.py, planning.py           what to measure next
"""
