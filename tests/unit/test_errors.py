"""Errors a user can mend: each carries a sentence, and the file it is about."""

import pytest

from pithline import errors
from pithline.errors import FitError, InputError, PithlineError, PlanError, about

CLASSES = [one for one in vars(errors).values() if isinstance(one, type) and issubclass(one, PithlineError)]


@pytest.mark.parametrize("kind", CLASSES)
def test_an_error_needs_a_sentence_and_keeps_it(kind):
    assert str(kind("the saw is blunt; sharpen it.")) == "the saw is blunt; sharpen it."
    for nothing in ("", "  \n"):
        with pytest.raises(ValueError, match="needs a sentence"):
            kind(nothing)


def test_the_file_stands_before_the_sentence():
    for kind, told in ((FitError, "w.ply: no log."), (InputError, "w.toml: no log."), (PlanError, "w.toml: no log.")):
        with pytest.raises(kind) as caught, about(fit="w.ply", other="w.toml"):
            raise kind("no log.")
        assert str(caught.value) == told and type(caught.value) is kind


def test_without_a_file_the_sentence_stays_and_other_faults_pass_through():
    with pytest.raises(PlanError, match=r"^no part fits\.$"), about(fit="w.ply"):
        raise PlanError("no part fits.")
    with pytest.raises(ZeroDivisionError), about(fit="w.ply", other="w.toml"):
        raise ZeroDivisionError
    with about(other="w.toml"):
        pass
