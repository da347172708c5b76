"""Results that show themselves: the records of the core with what it takes to put them into words and pictures.

One file a question, so that a throw does not wait for what only a fit needs.

shown.py   what every result can do      throw.py, check.py, sweep.py, plan.py, learned.py   the results
"""
