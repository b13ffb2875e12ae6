"""Layouts worth choosing from, laid out on their true planes, and the master that chooses among them."""
