"""Answers kept beside what they are about: pages ask for the same pose or place again and again."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, Protocol, TypeVar

Found = TypeVar("Found")


class HasId(Protocol):
    """A part of a script that has an id of its own."""

    @property
    def id(self) -> str:
        """Its id."""


class Keeper(Protocol):
    """What answers are kept beside, as long as it lives."""

    @property
    def known(self) -> dict[Any, dict[str, Any]]:
        """Answers by what was asked, then by the id of what it was asked of."""


Of = TypeVar("Of", bound=Keeper)
About = TypeVar("About", bound="HasId | str")


def kept(ask: Callable[[Of, About], Found]) -> Callable[[Of, About], Found]:
    """A function of a script and one part of it, or the part's id, that is worked out once for each."""

    @wraps(ask)
    def asked(of: Of, about: About) -> Found:
        answers: dict[str, Found] = of.known.setdefault(ask, {})
        name = about if isinstance(about, str) else about.id
        if name not in answers:
            answers[name] = ask(of, about)
        return answers[name]

    return asked
