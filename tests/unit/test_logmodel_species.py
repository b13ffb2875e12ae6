"""Species are found by name; a misspelt one is answered with the nearest."""

import pytest

from pithline.errors import InputError
from pithline.logmodel.species import SPECIES, species_of


def test_known_names_whatever_their_case():
    assert species_of("Black  Walnut").name == "black walnut"
    assert species_of("northern-red_oak").name == "northern red oak"


@pytest.mark.parametrize(
    ("wrote", "meant"), [("blak walnut", "black walnut"), ("walnut", "black walnut"), ("beach", "beech")]
)
def test_a_misspelt_name_is_answered_with_the_nearest(wrote, meant):
    with pytest.raises(InputError, match=f'did you mean "{meant}"'):
        species_of(wrote)


def test_walnut_as_published():
    """Wood Handbook Table 4-3 (5.5 and 7.8 %); 58 lb/ft³ green (US National Park Service, Safety for Tree Workers)."""
    walnut = species_of("black walnut")
    assert (walnut.shrink_radial, walnut.shrink_tangential) == (0.055, 0.078)
    assert walnut.green_density == pytest.approx(58 * 0.45359237 / 0.3048**3, rel=1e-3)


@pytest.mark.parametrize("one", SPECIES.values(), ids=lambda one: one.name)
def test_values_are_of_the_right_order(one):
    assert 0.02 < one.shrink_radial < one.shrink_tangential < 0.15
    assert one.bark_thickness(300.0) == pytest.approx(300.0 * (1 - one.bark_ratio))
    assert 600 < one.green_density < 1100
