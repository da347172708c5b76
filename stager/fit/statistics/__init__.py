"""General statistics, on arrays or on functions that are passed in.

least_squares.py        damped least squares from many starts, intervals by profile likelihood
importance_sampling.py  posterior draws, smoothed weights, coverage intervals
hypothesis_tests.py     two-sample tests, a regression coefficient, patterns in residuals; AICc, Holm's adjustment
"""
