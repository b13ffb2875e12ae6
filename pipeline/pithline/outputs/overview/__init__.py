"""The overview for the wall: the tree of pieces from the log to the plates, drawn to scale, ticked as they come."""
