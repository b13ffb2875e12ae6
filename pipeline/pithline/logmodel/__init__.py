"""The fitted log: centreline, outline, ends, pith, bark."""
