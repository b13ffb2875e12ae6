"""Logs whose truth is known, scans of them, and a judge that shares no code with the planner."""
