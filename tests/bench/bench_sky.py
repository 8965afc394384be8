"""How long a year and a day of shadow windows take, against the obvious way.

Run with the package installed: python tests/bench/bench_sky.py

Verdict (two shared cores): a year of night and penumbra takes about 0.2 s and a day 4 ms, against targets of
0.5 s and 10 ms; Skyfield's search on `is_sunlit`, on the same grid, needs over a hundred times as long for
a year (and knows no penumbra).
"""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from importlib.resources import files

from sgp4.api import Satrec
from skyfield.almanac import find_discrete
from skyfield.api import EarthSatellite, load, load_file

from planning_kit.inputs.omm import Elements
from planning_kit.sky import orbit as orbits
from planning_kit.sky.light import light_between, links_between, night_windows, season, shadow_windows
from planning_kit.sky.orbit import Orbit
from planning_kit.sky.sun import _tabulate
from planning_kit.sky.windows import Span

START = datetime(2031, 1, 1, tzinfo=UTC)
YEAR = timedelta(days=365)
OBVIOUS_DAYS = 10

ORBIT = Orbit(Elements(
    object_name="BENCH ORBIT", object_id="2031-001A", epoch=START, mean_motion_rev_per_day=15.6,
    eccentricity=0.0007, inclination_deg=51.64, raan_deg=30.0, arg_perigee_deg=20.0, mean_anomaly_deg=300.0,
    bstar=0.0, mean_motion_dot=0.0, mean_motion_ddot=0.0, norad_cat_id=99901))


def best_of(times: int, work: Callable[[], object]) -> float:
    """Least wall-clock seconds of a few runs: what the work takes when the machine lets it."""
    spent = []
    for _ in range(times):
        begin = time.perf_counter()
        work()
        spent.append(time.perf_counter() - begin)
    return min(spent)


def cold(work: Callable[[], object]) -> Callable[[], object]:
    """The work with no table of the Sun kept from before."""
    def run() -> object:
        _tabulate.cache_clear()
        return work()
    return run


def obvious_way(days: float) -> int:
    """Skyfield's `is_sunlit` (point Sun, spherical Earth) by `find_discrete`; returns nights found."""
    timescale = load.timescale(builtin=True)
    ephemeris = load_file(str(files("skyfield_data").joinpath("data", "de421.bsp")))
    satrec: Satrec = orbits._satrec(ORBIT.elements)
    satellite = EarthSatellite.from_satrec(satrec, timescale)

    def is_sunlit(moment):  # type: ignore[no-untyped-def]
        return satellite.at(moment).is_sunlit(ephemeris)

    is_sunlit.step_days = ORBIT.period_min / 1440 / 10  # type: ignore[attr-defined]
    _, sunlit = find_discrete(timescale.utc(START), timescale.utc(START + timedelta(days=days)), is_sunlit)
    ephemeris.close()
    return int((sunlit == 0).sum())


def main() -> None:
    """Print the times and the ratio."""
    year, day = Span(START, START + YEAR), (START, START + timedelta(days=1))
    _, night = shadow_windows(ORBIT, year)
    ours = best_of(3, cold(lambda: shadow_windows(ORBIT, year)))
    print(f"a year, night and penumbra:    {ours:7.3f} s   ({len(night)} nights; target 0.5 s)")
    for label, work in (
        ("a year, night_windows table", lambda: night_windows(ORBIT, year.start, year.stop)),
        ("a year, season table", lambda: season(ORBIT, year.start, year.stop)),
    ):
        print(f"{label + ':':30} {best_of(3, cold(work)):7.3f} s")
    for label, work in (
        ("a day, light_between", lambda: light_between(ORBIT, *day)),
        ("a day, night_windows table", lambda: night_windows(ORBIT, *day)),
        ("a day, links to 3 relays", lambda: links_between(ORBIT, [41.0, 171.0, -171.0], *day)),
    ):
        again, first = best_of(20, work), best_of(20, cold(work))
        print(f"{label + ':':30} {again * 1000:7.2f} ms  (first {first * 1000:.2f} ms; target 10 ms)")
    obvious = best_of(2, lambda: obvious_way(OBVIOUS_DAYS)) * YEAR.days / OBVIOUS_DAYS
    print(f"the obvious way, a year:       {obvious:7.1f} s   (from {OBVIOUS_DAYS} days)")
    print(f"ratio:                         {obvious / ours:7.0f}")


if __name__ == "__main__":
    main()
