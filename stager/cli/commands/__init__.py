"""One file a command. Heavy modules are imported inside the functions, so that help and complaints come at once."""
