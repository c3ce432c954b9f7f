"""Water vapour: saturation pressure, latent heat, and the gas in the chamber with its vent.

Pressures are absolute, in Pa; temperatures in Cel unless a name ends in `_k`.
"""

from math import exp, sqrt

KELVIN = 273.15
GAS_VAPOUR = 461.526  # J/(kg K), specific gas constant of water, IAPWS R6-95
GAS_AIR = 287.05  # J/(kg K), dry air
CRITICAL_K = 647.096
CRITICAL_PA = 22.064e6
# IAPWS SR1-86(1992), supplementary release on saturation properties, equation 1.
SATURATION = (-7.85951783, 1.84408259, -11.7866497, 22.6807411, -15.9618719, 1.80122502)
CHOKED = 0.46  # of the upstream pressure: a larger difference moves no more gas (ratio about 1.9)
# A gas expands on its way through: the flow of a dense fluid times 1 - 0.63 x, x the drop as a part of the upstream
# pressure; within 1 % of the isentropic orifice of an ideal gas with k = 1.4, 3 % of one with 1.3 (fitted here).
EXPANDS = 0.63
DISCHARGE = 0.7  # of a short round hole, usual textbook range 0.6 to 0.8
SPECIFIC_HEAT_WATER = 4186.0  # J/(kg K)
LATENT_AT_0, LATENT_SLOPE = 2.5013e6, 2.53e3  # J/kg, J/(kg K)


def saturation_pressure(celsius: float) -> float:
    """Saturation pressure in Pa at `celsius` (0 to 370), after IAPWS SR1-86(1992), equation 1."""
    kelvin = celsius + KELVIN
    tau = 1.0 - kelvin / CRITICAL_K
    root = sqrt(tau)
    cube = tau * tau * tau
    a1, a2, a3, a4, a5, a6 = SATURATION
    powers = a1 * tau + a2 * tau * root + a3 * cube + a4 * cube * root + a5 * cube * tau + a6 * cube * cube * tau * root
    return CRITICAL_PA * exp(CRITICAL_K / kelvin * powers)


def latent_heat(celsius: float) -> float:
    """Heat of evaporation in J/kg: a straight line near steam-table values from 20 to 140 Cel (to 0.7 %)."""
    return LATENT_AT_0 - LATENT_SLOPE * celsius


def saturation_slope(celsius: float, pressure: float) -> float:
    """dp/dT on saturation in Pa/K by Clausius and Clapeyron for an ideal vapour (to 4 % below 140 Cel)."""
    kelvin = celsius + KELVIN
    return pressure * latent_heat(celsius) / (GAS_VAPOUR * kelvin * kelvin)


class Gas:
    """Air and vapour in the chamber above the water, and what the vent and the gasket let past.

    `air` is the partial pressure of dry air, `vapour` that of steam; `pressure` is their sum.
    """

    def __init__(self, volume: float, ambient: float, celsius: float) -> None:
        self.ambient = ambient
        self.volume = volume  # m3 free of water
        self.celsius = celsius
        self.vapour = saturation_pressure(celsius)
        self.air = ambient - self.vapour
        self.pressure = ambient

    @property
    def gauge(self) -> float:
        """Pressure above ambient, Pa."""
        return self.pressure - self.ambient

    def vapour_mass(self) -> float:
        """Steam held in the gas, kg."""
        return self.volume * self.vapour / (GAS_VAPOUR * (self.celsius + KELVIN))

    def squeeze(self, volume: float) -> None:
        """Water came in or went: the air takes the new `volume` in m3; vapour is set by the water anyway."""
        self.air *= self.volume / volume
        self.volume = volume

    def warm(self, celsius: float) -> None:
        """The gas takes a new temperature at constant volume."""
        self.air *= (celsius + KELVIN) / (self.celsius + KELVIN)
        self.celsius = celsius

    def open_door(self) -> None:
        """The door is open: ambient pressure, the rest is room air."""
        self.air = max(0.0, self.ambient - self.vapour)
        self.pressure = self.ambient

    def breathe(self, dt: float, area: float) -> float:
        """Let gas through `area` (m2) for `dt` s. Returns the kg of vapour that left; room air comes in dry.

        Orifice flow with the mixture's own density, backward Euler in the square root of the pressure
        difference: the equation is far too stiff for an explicit step near equal pressures.
        """
        excess = self.air + self.vapour - self.ambient
        if area <= 0.0 or excess == 0.0:
            self.pressure = self.air + self.vapour
            return 0.0
        kelvin = self.celsius + KELVIN
        outward = excess > 0.0
        upstream = self.ambient + (excess if outward else 0.0)
        if outward:
            density = self.air / (GAS_AIR * kelvin) + self.vapour / (GAS_VAPOUR * kelvin)
            share = self.air
        else:
            density = self.ambient / (GAS_AIR * 293.15)
            share = self.ambient
        drive = min(abs(excess), CHOKED * upstream)
        narrowed = DISCHARGE * area * (1.0 - EXPANDS * drive / upstream)
        speed = narrowed * sqrt(2.0 / density) * dt / self.volume  # volumes per sqrt(Pa) in this step
        pull = speed * share
        root = (-pull + sqrt(pull * pull + 4.0 * drive)) / 2.0  # sqrt of the difference at the end of the step
        swept = speed * root  # chamber volumes moved
        if outward:
            self.air -= self.air * min(swept, 1.0)
            left = swept * self.volume * self.vapour / (GAS_VAPOUR * kelvin)
        else:
            self.air += self.ambient * swept
            left = 0.0
        self.pressure = self.air + self.vapour
        return left
