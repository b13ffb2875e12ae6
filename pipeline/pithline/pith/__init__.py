"""The pith and the rings in a photograph of the end grain."""
