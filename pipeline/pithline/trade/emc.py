"""Equilibrium moisture content of wood in air.

References
----------
Wood Handbook, FPL-GTR-190, 2010, Eq. 4-5 with its constants for degrees Fahrenheit, as quoted in full second-hand; the
constants for degrees Celsius are from memory and agree with them to 0.013 points from 30 to 120 °F and 5 to 95 %.
North Carolina State extension finds the equation within 0.5 of the tables from 35 to 180 °F and 20 to 80 %. Fine for
practice, not for sorption science (FPL-GTR-229, 2014).
"""

from __future__ import annotations

# W, K, K1, K2: each a + b T + c T²
_FAHRENHEIT = (
    (330.0, 0.452, 0.00415),
    (0.791, 0.000463, -0.000000844),
    (6.34, 0.000775, -0.0000935),
    (1.09, 0.0284, -0.0000904),
)
_CELSIUS = (
    (349.0, 1.29, 0.0135),
    (0.805, 0.000736, -0.00000273),
    (6.27, -0.00938, -0.000303),
    (1.91, 0.0407, -0.000293),
)


def equilibrium_moisture_f(temperature_f: float, humidity: float) -> float:
    """Equilibrium moisture content, temperature in °F.

    ``EMC = 1800/W (K H/(1 - K H) + (K1 K H + 2 K1 K2 K² H²)/(1 + K1 K H + K1 K2 K² H²))``, W, K, K1 and K2 quadratic in
    the temperature.

    Parameters
    ----------
    temperature_f : float
        Temperature of the air. [°F]
    humidity : float
        Relative humidity H. [fraction, 0 to 1]

    Returns
    -------
    float
        Moisture content. [percent of ovendry mass]

    Examples
    --------
    >>> round(equilibrium_moisture_f(70.0, 0.50), 2)
    9.25
    """
    return _equation(_FAHRENHEIT, temperature_f, humidity)


def equilibrium_moisture_c(temperature_c: float, humidity: float) -> float:
    """Equilibrium moisture content, temperature in °C; otherwise as `equilibrium_moisture_f`. [percent]"""
    return _equation(_CELSIUS, temperature_c, humidity)


def _equation(constants: tuple[tuple[float, float, float], ...], temperature: float, humidity: float) -> float:
    if not 0.0 <= humidity <= 1.0:
        raise ValueError(f"relative humidity is a fraction from 0 to 1, not {humidity}")
    w, k, k1, k2 = (a + b * temperature + c * temperature**2 for a, b, c in constants)
    kh = k * humidity
    hydrate = k1 * kh + k1 * k2 * kh**2
    return 1800.0 / w * (kh / (1.0 - kh) + (hydrate + k1 * k2 * kh**2) / (1.0 + hydrate))
