"""Pure functions on arrays: leading axes are the batch, the last axis is the stage."""
