"""Writes units.csv: conversions as the pint library gives them, for the test in src/units/reference.rs.

Run with pint installed:  python3 tests/reference/units.py > tests/reference/units.csv
Every pair of units in a group is converted, for three values. UCUM codes are read through ucumvert.
"""

import pint
import ucumvert

PLAIN = {
    "pressure": {
        "Pa": "pascal", "hPa": "hectopascal", "kPa": "kilopascal", "MPa": "megapascal", "mbar": "millibar", "bar": "bar",
        "atm": "atm", "psi": "psi", "inHg": "inch_Hg", "mmHg": "millimeter_Hg",
    },
    "speed": {
        "m/s": "m/s", "km/h": "km/h", "kn": "knot", "mph": "mph", "ft/s": "ft/s", "mm/h": "mm/h", "in/h": "inch/h",
    },
    "length": {
        "m": "m", "km": "km", "cm": "cm", "mm": "mm", "µm": "um", "in": "inch", "ft": "foot", "yd": "yard", "mi": "mile",
        "nmi": "nautical_mile",
    },
    "area": {"m²": "m**2", "cm²": "cm**2", "ha": "hectare", "ft²": "foot**2"},
    "volume": {"m³": "m**3", "L": "liter", "hL": "hectoliter", "mL": "milliliter", "ft³": "foot**3", "gal": "gallon"},
    "flow": {
        "m³/h": "m**3/h", "L/s": "liter/s", "L/min": "liter/min", "L/h": "liter/h", "gal/min": "gallon/min",
        "ft³/min": "foot**3/min",
    },
    "mass": {"kg": "kg", "g": "g", "mg": "mg", "t": "metric_ton", "lb": "pound", "oz": "ounce"},
    "concentration": {
        "kg/m³": "kg/m**3", "g/m³": "g/m**3", "mg/m³": "mg/m**3", "µg/m³": "ug/m**3", "mg/L": "mg/liter", "g/cm³": "g/cm**3",
    },
    "time": {"s": "s", "ms": "ms", "min": "min", "h": "h", "d": "day", "wk": "week"},
    "power": {"W": "W", "mW": "mW", "kW": "kW", "MW": "MW", "Btu/h": "Btu_it/h"},
    "energy": {"J": "J", "kJ": "kJ", "MJ": "MJ", "Wh": "W*h", "kWh": "kW*h", "MWh": "MW*h", "Btu": "Btu_it"},
    "ratio": {"%": "percent", "g/kg": "g/kg", "ppm": "ppm", "mg/kg": "mg/kg", "ppb": "ug/kg"},
    "voltage": {"V": "V", "mV": "mV", "kV": "kV"},
    "current": {"A": "A", "mA": "mA", "µA": "uA"},
    "charge": {"A·s": "C", "Ah": "A*h", "mAh": "mA*h"},
    "conductivity": {"S/m": "S/m", "mS/cm": "mS/cm", "µS/cm": "uS/cm"},
    "frequency": {"1/s": "1/s", "Hz": "1/s", "kHz": "1/ms", "1/min": "1/min"},
    "angle": {"rad": "rad", "°": "degree"},
    "information": {"bit": "bit", "B": "byte", "kB": "kilobyte", "KiB": "kibibyte", "MiB": "mebibyte"},
    "irradiance": {"W/m²": "W/m**2", "kW/m²": "kW/m**2"},
    "dose": {"Sv": "Sv", "mSv": "mSv", "µSv": "uSv"},
    "illuminance": {"lx": "lux", "klx": "kilolux"},
}
POINTS = {"K": "kelvin", "°C": "degC", "°F": "degF"}
DIFFERENCES = {"K": "kelvin", "°C": "delta_degC", "°F": "delta_degF"}
# UCUM codes, each with a unit of the same kind. Water columns are left out because ucumvert takes them at 60 °F and not with the
# conventional density, and the cubic foot because it reads that as a hundredth of a foot.
UCUM = {
    "[in_i]": "m", "[ft_i]": "m", "[yd_i]": "m", "[mi_i]": "m", "[nmi_i]": "m",
    "[kn_i]": "m/s", "[mi_i]/h": "m/s", "[lb_av]": "kg", "[oz_av]": "kg", "[gal_us]": "m3", "[sft_i]": "m2",
    "har": "m2", "[ppth]": "%", "[ppm]": "%", "[ppb]": "%", "L/min": "m3/s", "ug/m3": "kg/m3", "W.h": "J", "kW.h": "J",
    "deg": "rad", "mm/h": "m/s", "bar": "Pa", "KiBy": "bit", "By": "bit", "uSv/h": "Sv/h", "g/kg": "%",
}


def main():
    registry = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    ucum = ucumvert.PintUcumRegistry()
    print("# Conversions by pint " + pint.__version__ + " (BSD licence), written by units.py; UCUM codes through ucumvert "
          + "0.3. Do not edit.")
    print("sense,from,to,value,result")

    def rows(sense, names, values):
        for a, pa in names.items():
            for b, pb in names.items():
                for value in values:
                    result = registry.Quantity(value, pa).to(pb).magnitude
                    print(f"{sense},{a},{b},{value!r},{result!r}")

    for names in PLAIN.values():
        rows("amount", names, [1.0, 12.4, 0.07])
    rows("amount", POINTS, [-40.0, 0.0, 12.4, 54.32, 310.15])
    rows("difference", DIFFERENCES, [-2.5, 5.0, 12.4])
    for code, target in UCUM.items():
        result = ucum.from_ucum(code).to(ucum.from_ucum(target)).magnitude
        print(f"amount,{code},{target},1.0,{result!r}")


if __name__ == "__main__":
    main()
