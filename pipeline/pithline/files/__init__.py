"""All reading, validation and whole-file writing."""
