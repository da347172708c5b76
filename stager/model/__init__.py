"""What exists: frozen records of SI floats, or of arrays whose axes are the batch."""
