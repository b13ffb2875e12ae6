"""From raw points to one clean log in its own frame."""
