"""Frames, curves, planes and convex pieces."""
