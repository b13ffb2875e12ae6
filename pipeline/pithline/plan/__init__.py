"""The search for settings and cuts."""
