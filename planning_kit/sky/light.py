"""What the station sees: the Sun, hence night, penumbra and day; and the geostationary relays.

Both are windows in which a smooth function of time is positive: how far a disc stands above the Earth's limb.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial

import numpy as np
import pandas as pd
from skyfield.sgp4lib import theta_GMST1982

from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.hazard_words import Term
from planning_kit.inputs.setting_records import Relays
from planning_kit.inputs.shown_text import ShownTable
from planning_kit.inputs.utc import When
from planning_kit.sky import windows as win
from planning_kit.sky.orbit import Orbit, as_orbit, edge_uncertainty_s
from planning_kit.sky.sun import SunTable, limb_margin_rad, sun_between, sun_margin_rad
from planning_kit.sky.windows import Span, Vector, Windows

# The Sun rises over the limb and sinks once a revolution: ten samples keep its peak and its trough apart, as
# `windows_where` asks.
SAMPLES_PER_REVOLUTION = 10

NIGHT_COLUMNS = ["penumbra_start", "night_start", "night_end", "penumbra_end"]


@dataclass(frozen=True, eq=False)
class Light:
    """When the Sun is down, partly down and up: float arrays (n, 2) of minutes after the start asked for.

    ``night``: the Sun's disc is wholly behind the ellipsoidal Earth (umbra). ``day``: it is wholly clear.
    ``penumbra``: between. The three share out the range: [start, end) each, clipped to it. Geometric:
    refraction and airglow are not in it (see `planning_kit.sky.sun`). The arrays are made read-only.
    """

    night: Windows
    penumbra: Windows
    day: Windows

    def __post_init__(self) -> None:
        """Lock the arrays: a light that others hold does not change under them."""
        for windows in (self.night, self.penumbra, self.day):
            windows.setflags(write=False)


def light_between(orbit: Orbit, start: When, stop: When) -> Light:
    """Night, penumbra and day of an orbit from ``start`` to ``stop`` (UTC), clipped to them.

    No night at all, or penumbra only, is an answer (arrays of shape (0, 2)). Raises `ScenarioError` for
    a range that is empty, too long or outside 1950 to 2052, and where SGP4 has no position.
    """
    span = win.span_between(start, stop)
    dimmed, night = shadow_windows(orbit, span)
    night, dimmed = win.clip(night, 0.0, span.seconds) / 60, win.clip(dimmed, 0.0, span.seconds) / 60
    whole = (0.0, span.seconds / 60)
    return Light(night=night, penumbra=win.intersect(dimmed, win.complement(night, whole)),
                 day=win.complement(dimmed, whole))


def night_windows(orbit: Orbit, start: When, stop: When) -> pd.DataFrame:
    """Every pass through Earth's shadow that overlaps ``start`` to ``stop`` (UTC), a row each, in order.

    Columns: ``penumbra_start``, ``night_start``, ``night_end``, ``penumbra_end`` (UTC, to the millisecond;
    NaT in the night columns of a pass through the penumbra only), ``night_min`` (minutes, NaN without
    night) and ``uncertainty_s`` (how far the whole window may be shifted, see
    `planning_kit.sky.orbit`). A pass is given whole even where it reaches beyond the range, so that
    its length is true. Raises `ScenarioError` as `light_between` does.
    """
    orbit, span = as_orbit(orbit), win.span_between(start, stop)
    padded = span.padded(orbit.period_min * 60)  # no pass is longer, so those at the edges are seen whole
    dimmed, night = shadow_windows(orbit, padded)
    dimmed = _overlapping(span, padded, dimmed)
    edges = np.column_stack((dimmed[:, 0], _nights_within(dimmed, night), dimmed[:, 1]))
    frame = ShownTable({column: win.as_times(padded.start, edges[:, place])
                          for place, column in enumerate(NIGHT_COLUMNS)})
    frame["night_min"] = (edges[:, 2] - edges[:, 1]) / 60
    frame["uncertainty_s"] = edge_uncertainty_s(orbit, padded.start, dimmed.mean(axis=1))
    return frame


def _overlapping(span: Span, padded: Span, windows: Windows) -> Windows:
    """The windows, in seconds after the start of ``padded``, that reach into ``span``."""
    begin = span.start_s(padded)
    return windows[(windows[:, 1] > begin) & (windows[:, 0] < begin + span.seconds)]


def shadow_windows(orbit: Orbit, span: Span, sun: SunTable | None = None) -> tuple[Windows, Windows]:
    """Windows of (night or penumbra) and of night, in seconds after ``span.start``, clipped to the span.

    ``sun`` is for comparisons with other models of the shadow.
    """
    margins, step = _sun_margins(orbit, span, sun), sampling_step_s(orbit)

    def depth(seconds: Vector, rim: int) -> Vector:
        """How deep the rim farther from the limb (1) or nearer to it (-1) stands."""
        margin, semidiameter = margins(seconds)
        return rim * semidiameter - margin

    return (win.windows_where(partial(depth, rim=1), 0.0, span.seconds, step),
            win.windows_where(partial(depth, rim=-1), 0.0, span.seconds, step))


def _sun_margins(orbit: Orbit, span: Span,
                 sun: SunTable | None = None) -> Callable[[Vector], tuple[Vector, Vector]]:
    """`sun_margin_rad` at the station, by seconds after the start of the span."""
    table = sun or sun_between(span.start, span.stop)
    return lambda seconds: sun_margin_rad(orbit.position_teme_km(span.start, seconds),
                                          table.position_teme_km(span.start, seconds))


def midnights(orbit: Orbit, span: Span) -> Vector:
    """When each revolution is deepest behind Earth, seconds after ``span.start``, (k,), sorted.

    Read off the samples, so good to a sample's length: enough to count revolutions.
    """
    count = int(np.ceil(span.seconds / sampling_step_s(orbit))) + 1
    seconds = np.linspace(0.0, span.seconds, count)
    margin, _ = _sun_margins(orbit, span)(seconds)
    # Strict on one side only: of two equal samples at the bottom one counts, not none and not both.
    return seconds[1:-1][(margin[1:-1] < margin[:-2]) & (margin[1:-1] <= margin[2:])]


def sampling_step_s(orbit: Orbit) -> float:
    """Seconds between samples: a tenth of a revolution where the orbit is fastest.

    At perigee the true anomaly runs sqrt(1 + e) / (1 - e)^1.5 times faster than on average (area law).
    """
    eccentricity = orbit.mean.eccentricity
    fastest = np.sqrt(1 + eccentricity) / (1 - eccentricity) ** 1.5
    return float(orbit.period_min * 60 / SAMPLES_PER_REVOLUTION / fastest)


def _nights_within(dimmed: Windows, night: Windows) -> Windows:
    """For each window of dimmed light the night in it, or NaN: shape (n, 2)."""
    nights = np.full(dimmed.shape, np.nan)
    if len(dimmed):
        middle = night.mean(axis=1)  # by its middle, as edges found apart could differ by the tolerance
        place = np.searchsorted(dimmed[:, 0], middle) - 1
        inside = (place >= 0) & (middle < dimmed[np.maximum(place, 0), 1])
        nights[place[inside]] = night[inside]
    return nights


GEOSTATIONARY_RADIUS_KM = 42164.17
"""(mu / omega²)^(1/3) with mu 398 600.4418 km³/s² and omega 7.292115e-5 rad/s (WGS 84)."""


def links_between(orbit: Orbit, relays: Relays | Iterable[float], start: When,
                  stop: When) -> dict[str, Windows]:
    """For each relay, when it is in view: (n, 2) minutes after ``start``, clipped to ``start`` and ``stop``.

    ``relays``: `Relays`, or longitudes in degrees east, which have a mask of 0. The keys are labels like
    ``relay 41°E``, in the order given; a longitude given twice stands once. In view means that a cone of
    ``mask_deg`` about the line of sight clears the ellipsoidal Earth: the line passes at least that far
    above the limb, as seen from the station. The station's own structure, antenna pointing, relay
    schedules and refraction are not in it.

    Raises `ScenarioError` as `light_between` does, for longitudes outside -180 to 360, a mask outside 0 to
    90 degrees, and an orbit that reaches the relays' ring.
    """
    span = win.span_between(start, stop)
    return {label: win.clip(windows, 0.0, span.seconds) / 60
            for label, windows in _relay_windows(orbit, relays, span).items()}


def link_windows(orbit: Orbit, relays: Relays | Iterable[float], start: When, stop: When) -> pd.DataFrame:
    """Every window of every relay that overlaps ``start`` to ``stop`` (UTC), sorted by start.

    Columns: ``relay`` (a label), ``start``, ``end`` (UTC, to the millisecond), ``minutes``. A window is
    given whole even where it reaches beyond the range, up to one revolution (where one that goes on is
    cut). Arguments and errors as for `links_between`.
    """
    orbit, span = as_orbit(orbit), win.span_between(start, stop)
    padded = span.padded(orbit.period_min * 60)
    found = {label: _overlapping(span, padded, windows)
             for label, windows in _relay_windows(orbit, relays, padded).items()}
    edges = np.vstack([win.no_windows(), *found.values()])
    labels = [label for label, windows in found.items() for _ in windows]
    return ShownTable({
        "relay": pd.Series(labels, dtype="str"), "start": win.as_times(padded.start, edges[:, 0]),
        "end": win.as_times(padded.start, edges[:, 1]), "minutes": (edges[:, 1] - edges[:, 0]) / 60,
    }).sort_values(["start", "relay"], ignore_index=True)


def relay_label(longitude_deg_east: float) -> str:
    """A relay's name from its longitude: ``relay 41°E``, ``relay 171°W``."""
    # From -180 (left out) to 180: the date line is 180°E.
    east = -((180 - longitude_deg_east) % 360 - 180)
    return f"relay {abs(east):g}°{'W' if east < 0 else 'E'}"


def relay_position_teme_km(longitude_deg_east: float, reference: datetime, seconds: Vector) -> Vector:
    """A geostationary relay ``seconds`` (k,) after ``reference`` (UTC): (k, 3), km, TEME.

    Mean sidereal time GMST 1982 turns longitude into TEME (AIAA 2006-6753, appendix C). UT1 is taken as UTC
    (0.9 s at most, 0.004 degrees); polar motion and the relay's own station keeping and inclination are
    neglected: a relay a tenth of a degree off its place moves a window by about 2 s.
    """
    day, fraction = win.julian_date(reference)
    angle, _ = theta_GMST1982(day, fraction + np.asarray(seconds, dtype=float) / win.SECONDS_PER_DAY)
    angle = angle + math.radians(longitude_deg_east)
    return GEOSTATIONARY_RADIUS_KM * np.column_stack((np.cos(angle), np.sin(angle), np.zeros_like(angle)))


def _relay_windows(orbit: Orbit, relays: Relays | Iterable[float], span: Span) -> dict[str, Windows]:
    """Windows in view by relay label, in seconds after ``span.start``, clipped to the span."""
    relays = _checked(orbit, relays)
    mask, step = math.radians(relays.mask_deg), sampling_step_s(orbit)

    def clearance(seconds: Vector, longitude: float) -> Vector:
        margin, spread = limb_margin_rad(orbit.position_teme_km(span.start, seconds),
                                         relay_position_teme_km(longitude, span.start, seconds))
        return margin - spread * mask

    return {relay_label(each): win.windows_where(partial(clearance, longitude=each), 0.0, span.seconds, step)
            for each in relays.longitudes_deg_east}


def _checked(orbit: Orbit, relays: Relays | Iterable[float]) -> Relays:
    if not isinstance(relays, Relays):
        try:
            if isinstance(relays, str):
                raise TypeError("a text is no list of longitudes")
            relays = Relays(tuple(float(longitude) for longitude in relays), mask_deg=0.0)
        except (TypeError, ValueError):
            raise ScenarioError.single(
                "must be the relays of a scenario, or a list of longitudes in degrees east", table="relays",
                column="longitudes_deg_east", value=relays) from None
    faults = Faults()
    for longitude in relays.longitudes_deg_east:
        # Put so that it refuses NaN, which fails every comparison.
        if not -180 <= longitude <= 360:
            faults.add("relays", None, "longitudes_deg_east", longitude,
                       "is no longitude; give degrees east from -180 to 360")
    if not 0 <= relays.mask_deg < 90:
        faults.add("relays", None, "mask_deg", relays.mask_deg, "must be at least 0 and less than 90 degrees")
    apogee = orbit.mean.semi_major_axis_km * (1 + orbit.mean.eccentricity)
    if apogee >= GEOSTATIONARY_RADIUS_KM:
        faults.add("orbit", None, "MEAN_MOTION", orbit.mean.mean_motion_rev_per_day,
                   "this orbit reaches the geostationary ring; links are computed for orbits below it only")
    faults.stop_if_any()
    return relays


# A season


def season(orbit: Orbit, start: When, stop: When) -> pd.DataFrame:
    """A row for each UTC day that ``start`` to ``stop`` touches, whole days.

    Columns: ``day`` (midnight UTC at which it begins), ``beta_deg`` (at noon), ``night_min_per_rev`` (mean
    minutes of night of the revolutions of that day, those without night counted as 0) and
    ``revs_with_night``. A revolution belongs to the day in which it passes its midnight, where the station
    is deepest behind Earth, so that a night over 0:00 is counted once and whole. Raises `ScenarioError` as
    `light_between` does.
    """
    orbit, span = as_orbit(orbit), _whole_days(win.span_between(start, stop))
    # One revolution more at each end: a night of the first or last day may reach beyond it.
    count = round(span.seconds / win.SECONDS_PER_DAY)
    padded = span.padded(orbit.period_min * 60)
    begin = span.start_s(padded)
    turn = midnights(orbit, padded)
    _, night = shadow_windows(orbit, padded)
    night_s = np.zeros(turn.size)
    if turn.size:
        nearest = np.searchsorted((turn[1:] + turn[:-1]) / 2, night.mean(axis=1))
        # Not +=, which would count only one of two nights that fall to one midnight.
        np.add.at(night_s, nearest, night[:, 1] - night[:, 0])
    day_of_turn = np.floor((turn - begin) / win.SECONDS_PER_DAY).astype(int)
    inside = (day_of_turn >= 0) & (day_of_turn < count)
    day_of_turn, night_s = day_of_turn[inside], night_s[inside]
    turns = np.bincount(day_of_turn, minlength=count)
    seconds = np.bincount(day_of_turn, weights=night_s, minlength=count)
    noons = np.arange(0.5, count) * win.SECONDS_PER_DAY
    return ShownTable({
        "day": pd.date_range(span.start, periods=count, freq="D", unit="us"),
        "beta_deg": beta_deg(orbit, span, noons),
        # A slow orbit has days without a midnight: 0 minutes, not 0 of 0.
        "night_min_per_rev": seconds / 60 / np.maximum(turns, 1),
        "revs_with_night": np.bincount(day_of_turn, weights=night_s > 0, minlength=count).astype(int),
    })


BETA_IN_DOUBT_DEG = 0.05
"""The osculating plane swings about the mean one by some hundredths of a degree: so near, a rule holds."""

_BETA_STEP_MIN = 5.0  # the swing has half a revolution's period, so that nine samples see each of its waves


def beta_windows(orbit: Orbit, start: datetime, stop: datetime, sign: str, degrees: float,
                 is_absolute: bool = False) -> Windows:
    """When beta (or ``is_absolute`` its amount) is ``sign`` (<=, <, >, >=) so many degrees: (n, 2).

    In minutes after ``start`` (UTC), clipped to ``stop``. What lies nearer than `BETA_IN_DOUBT_DEG` to the
    limit, on its other side, counts as well, as these windows are of hazards. Beta as in `beta_deg`.
    """
    span, side = win.span_between(start, stop), 1.0 if sign in (">", ">=") else -1.0

    def over(minutes: Vector) -> Vector:
        beta = beta_deg(orbit, span, minutes * 60.0)
        return side * ((np.abs(beta) if is_absolute else beta) - degrees) + BETA_IN_DOUBT_DEG

    return win.windows_where(over, 0.0, span.seconds / 60.0, _BETA_STEP_MIN)


def beta_bands(when: Iterable[Term]) -> Windows:
    """The bands of beta in which all terms about beta hold, degrees, (n, 2); as wide as `beta_windows`."""
    bands = np.array([[-90.0, 90.0]])
    for term in when:
        if term.kind in ("beta", "abs(beta)"):
            is_above = term.sign in (">", ">=")
            limit = term.degrees + (-BETA_IN_DOUBT_DEG if is_above else BETA_IN_DOUBT_DEG)
            holds = np.array([[limit, 90.0] if is_above else [-90.0, limit]])
            if term.kind == "abs(beta)":  # the same on the other side: either above it, both below
                holds = (win.union if is_above else win.intersect)(holds, -holds[:, ::-1])
            bands = win.intersect(bands, holds[holds[:, 1] > holds[:, 0]])
    return bands


def beta_from_vectors_deg(normal: Vector, sun: Vector) -> Vector:
    """Beta from the orbit normal and the direction of the Sun, both (k, 3), of any length: (k,), degrees.

    sin(beta) = normal . sun. With inclination i, node W, and the Sun at right ascension A and declination D
    the normal is (sin i sin W, -sin i cos W, cos i) and this is
    cos D sin i sin(W - A) + sin D cos i (Vallado, Fundamentals of Astrodynamics and Applications, from
    memory). The tangent form keeps its accuracy near 90 degrees.
    """
    along = np.sum(normal * sun, axis=1)
    across = np.linalg.norm(np.cross(normal, sun), axis=1)
    return np.asarray(np.degrees(np.arctan2(along, across)))


def beta_deg(orbit: Orbit, span: Span, seconds: Vector) -> Vector:
    """The Sun's angle above the orbit plane ``seconds`` after the start of the span, degrees, both (k,).

    Positive where the Sun is on the side of the orbit's angular momentum. The plane is the osculating one,
    which swings about the mean plane by some hundredths of a degree within a revolution; the Sun is apparent.
    """
    position, velocity = orbit.state_teme(span.start, seconds)
    sun = sun_between(span.start, span.stop).position_teme_km(span.start, seconds)
    return beta_from_vectors_deg(np.cross(position, velocity), sun)


def _whole_days(span: Span) -> Span:
    first = span.start.replace(hour=0, minute=0, second=0, microsecond=0)
    last = span.stop.replace(hour=0, minute=0, second=0, microsecond=0)
    return Span(first, last if last == span.stop else last + timedelta(days=1))
