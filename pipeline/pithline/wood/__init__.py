"""The wood field: rings, fibre, grades and unusable wood."""
