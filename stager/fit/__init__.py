"""Fit launchers to measured throws.

table/                     read and write tables of throws; throws typed at a bench
sound                      speeds from a sound recording
priors, friction_laws      priors of uncertain parameters; candidate friction laws
likelihood, optimiser      forward model and likelihood with outliers; best fit of a law
posterior                  posterior draws, and a summary of each parameter
identifiability            what the data cannot determine
adequacy, explanations     tests of whether the model fits; single changes that explain why not
fitting, records           `fit`, and the records that it returns
grip_ensemble, prediction  ensemble of possible launchers, settings, stages that are not built yet
compare, drift             comparison of two builds; change of exit speed in the course of a session
experiment_design          what to measure next
statistics/                general statistical methods
"""
