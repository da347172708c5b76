"""Fit launchers to measured throws.

table/                     read and write tables of throws; throws typed at a bench
sound                   speeds from a sound recording
priors                  priors of uncertain parameters; candidate friction laws
likelihood, optimiser   forward model and likelihood with outliers; best fit of a law
posterior               records of a fit; posterior draws, and a summary of each parameter
adequacy, explanations  whether the model fits, what the data cannot determine; single changes that explain why not
fitting                 `fit`
prediction              ensemble of possible launchers, settings, stages that are not built yet
compare                 comparison of two builds; change of exit speed in the course of a session
experiment_design       what to measure next
statistics/             general statistical methods
"""
