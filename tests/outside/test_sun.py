"""Sun against published values: the NOAA algorithm and VSOP87 through ephem, Meeus, the solar position algorithm."""

import datetime as calendar
from datetime import UTC, datetime, timedelta

import pytest
from astral import julian, sun
from published import Entry, chosen, entry, ids

from schedgen.physics import daylight

PLACES = ("Bergen", "Honolulu", "Quito", "Sydney", "Greenwich", "Suva", "Tromso", "Longyearbyen")
EVENTS = chosen(*(f"sun.{place}" for place in PLACES))
COVERS = [*ids(EVENTS), "sun.meeus_25a", "sun.spa_example"]
DEPRESSIONS = {"sunrise": daylight.SUNRISE, "sunset": daylight.SUNRISE, "civil": 6.0, "nautical": 12.0, "astro": 18.0}
RISING = ("sunrise", "dawn")


def ours(published: Entry) -> datetime | None:
    values = published.inputs
    day = calendar.date.fromisoformat(values["local_date"])
    where = (values["lat_deg"], values["lon_deg_E"], day)
    event = published.id.rsplit(".", 1)[1]
    if event == "noon":
        return daylight.sun_times(*where, values["utc_offset_h"]).noon
    depression = DEPRESSIONS[event.split("_")[0]]
    rising, setting = daylight.crossings(*where, depression, values["utc_offset_h"])
    return rising if event.endswith(RISING) else setting


@pytest.mark.parametrize("published", EVENTS, ids=ids(EVENTS))
def test_event_of_the_sun(published: Entry) -> None:
    found = ours(published)
    if published.expected.startswith("none"):
        assert found is None
        return
    assert found is not None
    off = abs((found - datetime.fromisoformat(published.expected)).total_seconds())
    assert off <= published.tolerance.get("abs_s_vs_astral", published.tolerance["abs_s"])
    # refraction left out of twilights, we are within the plain tolerance too
    assert off <= published.tolerance["abs_s"]


@pytest.mark.parametrize("published", [found for found in EVENTS if found.expected.startswith("none")])
def test_polar_day_and_night_are_told_apart(published: Entry) -> None:
    values = published.inputs
    day = calendar.date.fromisoformat(values["local_date"])
    times = daylight.sun_times(values["lat_deg"], values["lon_deg_E"], day, values["utc_offset_h"])
    event = published.id.rsplit(".", 1)[1]
    if event in ("sunrise", "sunset"):
        assert times.sun == ("stays above" if "above" in published.expected else "stays below")
    elif event.startswith("civil"):
        assert times.twilight == ("stays above" if "above" in published.expected else "stays below")


def test_position_of_the_sun_after_meeus() -> None:
    """The entry checks the reference only: the equations in `astral` that ours stand on."""
    published = entry("sun.meeus_25a")
    century = julian.julianday_to_juliancentury(published.inputs["JDE"])
    published.holds(sun.sun_apparent_long(century), "app_lon_deg")
    published.holds(sun.sun_true_long(century), "true_lon_deg")
    published.holds(sun.sun_rt_ascension(century) % 360.0, "RA_deg")
    published.holds(sun.sun_declination(century), "dec_deg")
    published.holds(sun.sun_rad_vector(century), "R_au")


def test_position_of_the_sun_beside_the_solar_position_algorithm() -> None:
    """That algorithm is good to 0.0003 degrees and refracts; ours need to be good to 0.05 degrees and 30 s only."""
    published = entry("sun.spa_example")
    values, expected = published.inputs, published.expected
    west = timedelta(hours=7)
    at = datetime(2003, 10, 17, 12, 30, 30, tzinfo=UTC) + west
    zenith = 90.0 - daylight.elevation(values["lat"], values["lon"], at)
    assert zenith == pytest.approx(expected["zenith_deg"], abs=0.05)
    # that algorithm counts the UTC day: its sunset, 00:20:19 UTC on the 17th, is that of the 16th local
    today = daylight.sun_times(values["lat"], values["lon"], calendar.date(2003, 10, 17), -7.0)
    before = daylight.sun_times(values["lat"], values["lon"], calendar.date(2003, 10, 16), -7.0)
    for found, wanted in ((today.sunrise, "sunrise"), (before.sunset, "sunset"), (today.noon, "transit")):
        assert found is not None
        clock = calendar.time.fromisoformat(expected[wanted].split(".")[0])
        there = datetime.combine((found - west).date(), clock, UTC) + west
        assert abs((found - there).total_seconds()) <= 30
