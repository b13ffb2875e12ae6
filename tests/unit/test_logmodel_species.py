"""Species are found by name; a misspelt one is answered with the nearest."""

import pytest

from pithline.errors import InputError
from pithline.logmodel.species import SPECIES, species_from, species_of


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
    assert 600 < one.green_density < 1200
    assert all(source.text and source.standing for source in one.sources.values()) and len(one.sources) == 5


DOCUMENT = {
    "source": {"book": {"text": "A book, Table 1", "standing": "published"}},
    "species": [
        {
            "name": "Silver-Bark Wood",
            "latin": "Arbor argentea",
            "shrink_radial": {"percent": 4.0, "source": "book"},
            "shrink_tangential": {"percent": 8.0, "source": "book"},
            "bark_ratio": {"ratio": 0.9, "error": 0.02, "source": "book"},
            "sapwood_most": {"thickness": "2 in", "source": "book"},
            "green_density": {"specific_gravity": 0.5, "moisture_percent": 80, "source": "book"},
        }
    ],
}


def changed(**values):
    return DOCUMENT | {"species": [DOCUMENT["species"][0] | values]}


def test_a_species_is_added_by_data_alone():
    wood = species_from(DOCUMENT)["silver bark wood"]
    assert (wood.shrink_radial, wood.sapwood_most, wood.green_density) == (0.04, 50.8, 900.0)
    assert wood.sources["bark_ratio"].text == "A book, Table 1"
    by_weight = species_from(changed(green_density={"weight": "50 lb/ft3", "source": "book"}))
    assert by_weight["silver bark wood"].green_density == 801.0


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"shrink_radial": 4.0}, "shrink_radial must be a value with its source"),
        ({"shrink_radial": {"percent": 4.0, "source": "hearsay"}}, 'names the source "hearsay"'),
        ({"green_density": {"weight": "900", "source": "book"}}, 'write it as "929 kg/m3" or "58 lb/ft3"'),
        ({"bark_ratio": {"ratio": 1.4, "error": 0.02, "source": "book"}}, "bark_ratio ratio is 1.4"),
        ({"colour": "white"}, 'has no key "colour"'),
    ],
)
def test_a_value_without_a_source_is_refused(values, message):
    with pytest.raises(InputError) as caught:
        species_from(changed(**values))
    assert message in str(caught.value)
