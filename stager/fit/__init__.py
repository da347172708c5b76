"""Learning from measured throws.

table/                     a spreadsheet's export to a record of throws; throws typed at a bench
sound                      speeds from a recording
priors, friction_laws      what is not known, and which friction laws there could be
likelihood, optimiser      what the model says the throws should have been, with their scatter; best fit of a law
posterior                  draws after the data, and what they say of each parameter
identifiability            what the data cannot tell
adequacy, explanations     whether the model fits at all; which single change explains what does not
fitting, records           all of it: `fit`, and what it returns
grip_ensemble, prediction  launchers that could be, how to set them, stages that are not built yet
compare, drift             two builds; exit speed that changes in the course of a session
experiment_design          what to measure next
statistics/                methods that know nothing of throws
"""
