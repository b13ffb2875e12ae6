"""Pithline: from the scan of one hardwood log to a cut script for quartersawn instrument wood."""

__version__ = "0.1.0"
