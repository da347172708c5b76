"""Statistics that know nothing of throws: each works on arrays or on a function that is passed in.

least.py      least squares with many starts at once    noise.py     scatter with outliers, its size unknown
profile.py    intervals by profile likelihood           importance.py  draws from a posterior, with a diagnostic
pareto.py     smoothing of heavy weights                coverage.py  quantiles and intervals of weighted draws
welch.py, trend.py  two samples; a slope among covariates  criteria.py  AICc, several tests at once
"""
