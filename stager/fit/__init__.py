"""Learning from measured throws.

table/                 a spreadsheet's export to a record      statistics/   methods that know nothing of throws
priors, laws           what is not known, which friction laws there could be
forward_model          what the model says the throws should have been
optimiser, posterior   best fit and draws                      fitting       all of it: `fit`
parameters, identifiability   what the data have told, and what they cannot
adequacy               whether the model fits at all
draws, grip_ensemble, prediction   launchers that could be, how to set them, stages that are not built yet
observations           throws beside what is expected of them
compare, hypotheses    two builds, and what explains a difference     drift   trend within a session
experiment_design      what to measure next
"""
