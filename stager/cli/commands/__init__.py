"""One file for each command or two. Heavy modules are imported inside the functions, so that help comes at once."""
