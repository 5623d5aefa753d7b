"""Writes air.csv: moist air and what it feels like as psychrolib and metpy give it, for the test in src/formulas/reference.rs.

Run with psychrolib and metpy installed:  python3 tests/reference/air.py > tests/reference/air.csv
Relative humidity is over water at every temperature; psychrolib reads it over ice below 0 °C, so that it is asked by the humidity
ratio instead, which follows from the vapour pressure (Magnus form, WMO-No. 8).
"""

import math
import warnings
from importlib.metadata import version

import psychrolib
from metpy.calc import heat_index, windchill
from metpy.units import units

warnings.filterwarnings("ignore")
psychrolib.SetUnitSystem(psychrolib.SI)
print(f"# psychrolib {version('psychrolib')} (MIT), metpy {version('metpy')} (BSD), written by air.py. Do not edit.")
print("function,a,b,c,result")
for temperature in (-15, -10, -5, -1, 1, 5, 12.4, 20, 30, 40, 50):
    for humidity in (5, 20, 50, 80, 91, 100):
        for pressure in (800, 950, 1013.25):
            vapour = humidity * 6.112 * math.exp(17.62 * temperature / (243.12 + temperature))  # Pa
            ratio = psychrolib.GetHumRatioFromVapPres(vapour, pressure * 100)
            if temperature >= 0 or vapour < psychrolib.GetSatVapPres(temperature):
                wet = psychrolib.GetTWetBulbFromHumRatio(temperature, ratio, pressure * 100)
                print(f"wet_bulb,{temperature},{humidity},{pressure},{wet:.4f}")
            print(f"mixing_ratio,{temperature},{humidity},{pressure},{ratio * 1000:.5f}")
            density = psychrolib.GetMoistAirDensity(temperature, ratio, pressure * 100)
            print(f"air_density,{temperature},{humidity},{pressure},{density:.5f}")
        if vapour > psychrolib.GetSatVapPres(0.1):
            dew = psychrolib.GetTDewPointFromRelHum(temperature, humidity / 100)
            print(f"dew_point,{temperature},{humidity},,{dew:.4f}")
# Cooler air takes another form, which metpy does not average with the temperature.
for temperature in (28, 30.5, 33, 36, 40, 43):
    for humidity in (5, 12, 30, 50, 70, 86, 95):
        felt = heat_index(temperature * units.degC, humidity * units.percent, mask_undefined=False).to("degC").magnitude
        if felt < 58:
            print(f"heat_index,{temperature},{humidity},,{float(getattr(felt, 'item', lambda: felt)()):.4f}")
for temperature in (-45, -20, -5, 0, 5, 10):
    for wind in (5, 10, 20, 40, 80, 120):
        felt = windchill(temperature * units.degC, wind * units("km/h"), mask_undefined=False).to("degC").magnitude
        print(f"wind_chill,{temperature},{wind},,{float(getattr(felt, 'item', lambda: felt)()):.4f}")
