"""The commands, by what they are about. Heavy modules are imported inside the functions, so that help comes at once."""
