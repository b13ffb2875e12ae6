"""Machines, products, and how a piece lies on the mill."""
