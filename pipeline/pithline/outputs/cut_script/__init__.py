"""The cut script as the pages read it: its JSON as frozen classes, the tree of its pieces, their shapes and distances."""
