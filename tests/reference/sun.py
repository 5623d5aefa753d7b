"""Writes sun.csv: sunrise, sunset and solar noon by pvlib's Solar Position Algorithm, for the test in src/formulas/reference.rs.

Run with pvlib installed:  python3 tests/reference/sun.py > tests/reference/sun.csv
Times are seconds from 0 h UTC of the date. pvlib's own list of events belongs to the day in UTC, and is a day's change off where an event
crosses its midnight; so the elevation of the sun's centre, without refraction, is followed for half a day on either side of noon, and
crosses -0.833° between two minutes. `day` and `night` stand where it does not. Days on which the sun stays within half a degree of
the horizon at noon or midnight are left out: there the time of an event hangs on hundredths of a degree.
"""

import datetime

import numpy
import pandas
import pvlib
from pvlib.solarposition import get_solarposition

PLACES = [
    (0.0, 0.0), (52.0, 5.0), (51.4779, 0.0), (40.7128, -74.006), (-22.9068, -43.1729), (-33.87, 151.21), (60.1699, 24.9384),
    (64.15, -21.94), (69.65, 18.96), (78.22, 15.65), (-77.85, 166.67), (21.3, -157.86), (-17.7, 178.0), (35.7, 139.7),
]
HORIZON = -0.833


def positions(midnight, seconds, latitude, longitude):
    times = midnight + pandas.to_timedelta(seconds, unit="s")
    return get_solarposition(pandas.DatetimeIndex(times), latitude, longitude)


def events(day, latitude, longitude):
    midnight = pandas.Timestamp(day, tz="UTC")
    noon = 43200 - 240 * longitude
    for _ in range(3):
        noon = 43200 - 240 * longitude - 60 * positions(midnight, [noon], latitude, longitude)["equation_of_time"].iloc[0]
    seconds = noon + numpy.arange(-43200, 43201, 60)
    above = positions(midnight, seconds, latitude, longitude)["elevation"].to_numpy() - HORIZON
    if min(abs(above[0]), abs(above[-1]), abs(above[len(above) // 2])) < 0.5:
        return None
    crossings = [seconds[i] + 60 * above[i] / (above[i] - above[i + 1]) for i in range(len(above) - 1) if above[i] * above[i + 1] < 0]
    if not crossings:
        kind = "day" if above[0] > 0 else "night"
        return kind, kind, noon
    rise, set_ = crossings
    return rise, set_, noon


def main():
    print(f"# Rise, set and noon by pvlib {pvlib.__version__} (BSD licence), written by sun.py. Do not edit.")
    print("date,latitude,longitude,rise,set,noon")
    written = lambda value: value if isinstance(value, str) else f"{value:.0f}"
    for latitude, longitude in PLACES:
        for number in range(26):
            day = datetime.date(2026, 1, 5) + datetime.timedelta(days=14 * number)
            found = events(day, latitude, longitude)
            if found is not None:
                print(f"{day},{latitude},{longitude}," + ",".join(written(value) for value in found))


if __name__ == "__main__":
    main()
