"""The plan to look at: the 3D page, the picture for a message, solids for other viewers."""
