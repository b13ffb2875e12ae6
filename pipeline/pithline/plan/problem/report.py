"""How a search tells how far it is, and hears that it is to end."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[str, float], None]
"""Told what is being done, and the fraction done."""
Stop = Callable[[], bool]
"""Says whether a time limit has run out; the search then goes on with what it has."""
