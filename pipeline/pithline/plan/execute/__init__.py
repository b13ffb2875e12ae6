"""A layout carried out cut by cut on real machines: set-ups, shop work, grades, sets."""
