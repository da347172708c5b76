"""Statistics that know nothing of throws: each works on arrays or on a function that is passed in.

least_squares        many starts at once, and intervals by profile likelihood
importance_sampling  draws from a posterior, smoothed weights, coverage intervals
hypothesis_tests     two samples, a coefficient among covariates, patterns in residuals; AICc, several tests at once
"""
