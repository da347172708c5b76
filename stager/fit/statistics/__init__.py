"""Statistics on arrays or on functions that are passed in; nothing here knows of throws or launchers.

least_squares.py        damped least squares from many starts, intervals by profile likelihood
importance_sampling.py  posterior draws, Pareto-smoothed weights, coverage intervals
hypothesis_tests.py     two-sample tests, a regression coefficient, tests of residuals, AICc, Holm's adjustment
"""
