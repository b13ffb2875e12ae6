"""A log that is partly sawn: its history, the pieces in hand, and the search over what is left."""
