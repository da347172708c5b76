"""Statistics on arrays or on functions that are passed in; nothing here knows of throws or launchers.

least_squares.py        damped least squares from many starts, intervals by profile likelihood
importance_sampling.py  posterior draws, Pareto-smoothed weights, coverage intervals
hypothesis_tests.py     tests of two builds, of a trend and of residuals; AICc, Holm's adjustment
"""
