"""The best number of stages and wheel speeds."""
