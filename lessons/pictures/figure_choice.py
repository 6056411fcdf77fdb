"""Which pictures the course has, and what each of them says of a given plant."""

import math
from collections.abc import Callable, Iterable, Mapping
from functools import lru_cache, partial

import numpy as np

from labkit.evidence.example_year import example_year
from labkit.evidence.limits import mtbf_limits
from labkit.evidence.log_cleaning import clean_log
from labkit.markov.flaws import Flaws, flaw_rows, years_in_words
from labkit.markov.latent import latent_faults
from labkit.plant.plant import Plant, load_plant
from labkit.plant.sensitivity import sensitivity
from labkit.plant.variants import compare_variants, rank_variants
from labkit.rig.rig import Rig, Trend
from labkit.switchover.clocks import Channel
from labkit.switchover.settings import PairSettings
from labkit.switchover.time_outs import false_alarms_by_beats
from labkit.wording import HOURS_PER_YEAR, grouped, percent
from lessons.pictures.dead_standby import latent_svg
from lessons.pictures.figure import Still
from lessons.pictures.flaw_bars import flaws_alt_text, flaws_svg
from lessons.pictures.loss_and_price import variants_alt_text, variants_svg
from lessons.pictures.next_failures import plot_next_failures
from lessons.pictures.part_curves import drawn_stops, plot_histories, plot_survival
from lessons.pictures.plant_picture import plant_alt_text, plant_svg, slide_width
from lessons.pictures.proven_curves import plot_mtbf_limits
from lessons.pictures.settling import Histories, settling_alt_text, settling_svg
from lessons.pictures.takeover_rows import takeover_svg
from lessons.pictures.time_out_picture import time_out_alt_text, time_out_svg
from lessons.pictures.tornado import tornado_svg, tornado_words
from lessons.pictures.trend import level_picture
from lessons.pictures.year_strip import plot_year, year_words

_NO_PAIR = "this plant has no pair of controllers"
_NO_TANK = "this plant has no tank"
_LOSS = Channel(loss=0.01)
# Of these years both are down for about what they are in the long run.
_SEED = 5
_RARE_AND_LONG, _OFTEN_AND_SHORT = "rare and long", "often and short"


def stills(plant: Plant | None = None) -> dict[str, Still]:
    """Return the pictures of the course, by the names of their files, in order of the lessons.

    Parameters
    ----------
    plant : Plant, optional
        Of which plant; that of the lessons where it is left out.

    Returns
    -------
    dict of str to Still
        What the plant has nothing for is left out, see `left_out`.

    >>> list(stills())[:2]
    ['survival', 'histories']
    """
    return {name: made for name, made in _all(plant) if isinstance(made, Still)}


def left_out(plant: Plant | None = None) -> dict[str, str]:
    """Return why a plant cannot show some of the pictures, by their names.

    Parameters
    ----------
    plant : Plant, optional
        Of which plant; that of the lessons where it is left out.

    >>> left_out()
    {}
    """
    return {name: made for name, made in _all(plant) if isinstance(made, str)}


@lru_cache(maxsize=4)
def _all(plant: Plant | None) -> list[tuple[str, Still | str]]:
    plant = plant or load_plant()
    return [(make.__name__.removeprefix("_"), make(plant)) for make in _MAKERS]


# ------------------------------------------------------------ what several of them need


def _unit(plant: Plant) -> str | None:
    """Return the controller that leads at the start."""
    if plant.pair:
        return plant.pair.units[0]
    return next((name for name, part in plant.parts.items() if part.kind == "controller"), None)


def _times(plant: Plant) -> tuple[float, float]:
    unit = _unit(plant)
    part = plant.parts[unit] if unit else next(iter(plant.parts.values()))
    return part.mtbf_h, part.mttr_h


def _after(plant: Plant, fault: str | tuple[str, ...], wait_s: float, before_s: float = 1.0,
           settings: PairSettings | None = None) -> Rig | None:
    """Return a rig some time after faults; None where the plant cannot have one of them."""
    rig = Rig(plant, settings)
    faults = (fault,) if isinstance(fault, str) else fault
    if not rig.known_faults.keys() >= {*faults}:
        return None
    rig.wait(before_s)
    for each in faults:
        rig.switch_on(each)
    rig.wait(wait_s)
    return rig


def _rows(*columns: Iterable[str]) -> tuple[tuple[str, ...], ...]:
    return tuple(zip(*columns, strict=True))


def _numbers(values: Iterable[float], form: str = "{:.4g}") -> list[str]:
    return [form.format(value) for value in values]


def _level_rows(trends: Mapping[str, Trend]) -> tuple[tuple[str, ...], ...]:
    """Return levels read off every few seconds."""
    longest = max(trends.values(), key=lambda trend: trend.time_s[-1])
    times = np.linspace(0, float(longest.time_s[-1]), 13)
    return _rows(_numbers(times, "{:.1f}"), *(
        _numbers(np.interp(times, trend.time_s, trend.level_m), "{:.3f}")
        for trend in trends.values()))


def _record_rows(rig: Rig) -> tuple[tuple[str, ...], ...]:
    return tuple((str(e.time_ms), e.who, e.what, e.old, e.new) for e in rig.record
                 if e.what in ("role", "outputs", "writes", "fault"))


# As high as a slide of 16 to 9 lets a picture 900 wide be.
_SLIDE = 500.0
RECORD = ("time [ms]", "who", "what", "from", "to")


# ------------------------------------------------------------ lessons 01 to 03


def _survival(plant: Plant) -> Still:
    mtbf_h, _ = _times(plant)
    years = np.linspace(0, 3 * mtbf_h / HOURS_PER_YEAR, 13)
    one_year, one_mtbf = (100 * math.exp(-hours / mtbf_h) for hours in (HOURS_PER_YEAR, mtbf_h))
    return Still(
        "01", "An MTBF is a failure rate turned over, and no lifetime.",
        f"Line chart: share of parts not failed yet [%] over time [years], MTBF {grouped(mtbf_h)} "
        f"h. The curve falls from 100 %: {one_year:.1f} % are left after one year and "
        f"{one_mtbf:.1f} % at the MTBF, after {mtbf_h / HOURS_PER_YEAR:.1f} years. It never "
        "reaches zero.",
        ("time [years]", "not failed yet [%]"),
        _rows(_numbers(years, "{:.2f}"),
              _numbers(100 * np.exp(-years * HOURS_PER_YEAR / mtbf_h), "{:.2f}")),
        draw=partial(plot_survival, mtbf_h))


def _histories(plant: Plant) -> Still:
    parts = {_RARE_AND_LONG: (990.0, 10.0), _OFTEN_AND_SHORT: (99.0, 1.0)}
    stops = drawn_stops(parts, HOURS_PER_YEAR, seed=_SEED)
    counts = [len(each) for each in stops.values()]
    down = [sum(length for _, length in each) / HOURS_PER_YEAR for each in stops.values()]
    return Still(
        "01", "One availability, two very different years.",
        "Two rows of bars over one year [h]: a part that fails rarely and stays down long, and "
        f"one that fails often and stays down shortly, drawn by chance: {counts[0]} stops and "
        f"{counts[1]}. In the long run both are down 1 % of the time; the number of stops differs "
        "tenfold.",
        ("part", "MTBF [h]", "MTTR [h]", "down in the long run [%]", "stops drawn",
         "down as drawn [%]"),
        tuple((name, f"{mtbf_h:g}", f"{mttr_h:g}", f"{100 * mttr_h / (mtbf_h + mttr_h):.2f}",
               str(count), f"{100 * share:.2f}")
              for (name, (mtbf_h, mttr_h)), count, share in zip(parts.items(), counts, down)),
        draw=lambda ax: plot_histories(parts, HOURS_PER_YEAR, seed=_SEED, ax=ax))


def _next_failures(plant: Plant) -> Still | str:
    unit, function = _unit(plant), next(iter(plant.functions))
    broken = {unit} if plant.pair else set()
    state, whole = plant.state(broken), plant.state(())
    found = state.next_failure_details[function]
    if not found:
        return f"no single failure stops {function}"
    while_ = f"while {unit} is broken" if broken else "with everything whole"
    beside = (f", {HOURS_PER_YEAR * whole.failures_per_h[function]:.2f} with everything whole"
              if broken else "")
    return Still(
        "02", f"{found[0].name} is the weakest point for {function} {while_}.",
        f"Bar chart: failures a year of everything that would stop {function} next {while_}. "
        f"{found[0].name} leads with {HOURS_PER_YEAR * found[0].rate_per_h:.3f} a year. In all "
        f"{HOURS_PER_YEAR * state.failures_per_h[function]:.2f} outages a year{beside}.",
        ("what fails", "failures a year"),
        _rows((each.name for each in found),
              _numbers((HOURS_PER_YEAR * each.rate_per_h for each in found), "{:.4f}")),
        draw=partial(plot_next_failures, state, function))


def _two_states_in_time(plant: Plant) -> Still:
    mtbf_h, mttr_h = _times(plant)
    part = Histories(mtbf_h, mttr_h, 6 * mttr_h, starts_down=False, outages=())
    time_h = np.linspace(0, 6 * mttr_h, 13)
    return Still(
        "03", "The long run begins after a few repair times, not after years.",
        settling_alt_text(part), ("time [h]", "unavailability"),
        _rows(_numbers(time_h), _numbers(part.model.unavailability_at(time_h), "{:.4e}")),
        picture=settling_svg(part))


# ------------------------------------------------------------ lessons 04 to 07, and 10


def _scheme(rig: Rig, lesson: str, caption: str, *, marks: bool = True) -> Still:
    snapshot, lamps = rig.snapshot(), rig.view().lamps
    alternative = plant_alt_text(rig.plant, snapshot)
    if not marks:
        lit = [lamp for lamp in lamps if lamp.lit]
        shining = {lamp.unit for lamp in lit}
        dark = dict.fromkeys(lamp.unit for lamp in lamps if lamp.unit not in shining)
        crossed = [f"{lamp.unit} {lamp.name} {lamp.text}" for lamp in lit if lamp.shape == "cross"]
        alternative = (f"{alternative.split(' Broken:')[0]} All lamps dark: "
                       f"{', '.join(dark) or 'none'}. Crossed: {', '.join(crossed) or 'none'}.")
    rows = tuple((lamp.unit, lamp.name, lamp.text, "lit" if lamp.lit else "dark") for lamp in lamps)
    picture = plant_svg(rig.plant, snapshot, marks=marks, width=slide_width(rig.plant))
    return Still(lesson, caption, alternative, ("unit", "lamp", "says", "is"), rows,
                 picture=picture)


def _plant(plant: Plant) -> Still:
    return _scheme(Rig(plant), "04", f"{plant.name}, with everything whole.")


def _power_cut(plant: Plant) -> Still | str:
    unit = _unit(plant)
    rig = _after(plant, f"{unit}: no power", 29.0)
    if rig is None:
        return "its controller cannot lose its power" if unit else "this plant has no controller"
    return _scheme(rig, "04", f"The plant 29 s after the power of {unit} was cut.")


def _takeover(plant: Plant) -> Still | str:
    if not plant.pair:
        return _NO_PAIR
    unit, other = plant.pair.units
    cut = _after(plant, f"{unit}: no power", 1.0)
    roles = [e.time_ms for e in cut.record if e.what == "role" and e.new == "active"]
    back = [e.time_ms for e in cut.record if e.what == "outputs" and e.new == "written"]
    racks = len(cut.snapshot().outputs)
    words = (
        f"Rows of bars over time [ms]: roles of {unit} and {other}, outputs of {racks} racks. At "
        f"1000 ms {unit} loses its power and is off. {other} is standby until {roles[-1]} ms, "
        f"then active. The outputs are held for {back[0] - 1000} ms and then written again.")
    return Still(
        "04", "Between the loss of power and the first new write the racks hold their outputs.",
        words, RECORD, _record_rows(cut), picture=takeover_svg(cut, 900, 1500, words))


def _time_outs(plant: Plant) -> Still | str:
    if not plant.pair:
        return _NO_PAIR
    settings = PairSettings()
    rates = false_alarms_by_beats(settings, _LOSS, 6)
    return Still(
        "05", f"With one beat in {1 / _LOSS.loss:.0f} lost, each by itself, one missed beat more makes "
        f"false alarms {1 / _LOSS.loss:.0f} times rarer.",
        time_out_alt_text(settings, _LOSS), ("missed beats", "false alarms a year", "found at the latest after [ms]"),
        tuple((str(n), f"{rate:.3g}", str(n * settings.heartbeat_ms + settings.margin_ms))
              for n, rate in enumerate(rates, 1)),
        picture=time_out_svg(settings, _LOSS))


def _hold_times(plant: Plant) -> Still | str:
    if not plant.pair or not plant.process:
        return _NO_TANK if plant.pair else _NO_PAIR
    fault = f"{plant.pair.units[0]}: no power"
    runs = {f"hold time {hold_ms} ms": _after(plant, fault, 110.0, 10.0,
                                              PairSettings(hold_ms=hold_ms))
            for hold_ms in (500, 200)}
    trends = {words: rig.trend() for words, rig in runs.items()}
    (name, whole), (other, _) = runs.items()
    tank = whole.view().tank
    low = {words: float(trend.level_m.min()) for words, trend in trends.items()}
    return Still(
        "06", "The same takeover: what the tank sees is up to the hold time of the racks.",
        f"Line chart: level of the tank [m] over time [s], power of "
        f"{plant.pair.units[0]} cut at 10 s. "
        + " ".join(f"With a {words} the lowest level is {level:.2f} m."
                   for words, level in low.items())
        + f" The low trip is at {tank.low_trip_m:.2f} m.",
        ("time [s]", *(f"level, {words} [m]" for words in trends)), _level_rows(trends),
        picture=level_picture(whole.view(), name=name, height=_SLIDE,
                              beside=(other, trends[other])))


def _level_shut_valve(plant: Plant) -> Still | str:
    if not plant.process:
        return _NO_TANK
    shut = _after(plant, next((name for name in Rig(plant).known_faults
                               if name.endswith("shut locally")), ""), 25.0, 5.0)
    if shut is None:
        return "its outlet cannot be shut locally"
    trend, tank = shut.trend(), shut.view().tank
    over_s = [t for t, level in zip(trend.time_s, trend.level_m) if level >= tank.overflow_m]
    reaches = f"reaches the overflow at {tank.overflow_m:.2f} m after {over_s[0] - 5:.0f} s" \
        if over_s else f"stays below the overflow at {tank.overflow_m:.2f} m"
    return Still(
        "06", "All lamps are as ever, and the tank overflows within seconds.",
        f"Line chart: level of the header tank [m] over time [s]. It stands at "
        f"{tank.set_point_m:.2f} m until the outlet is shut at 5 s, rises in a straight line and "
        f"{reaches}. The low trip at {tank.low_trip_m:.2f} m is not touched.",
        ("time [s]", "level [m]"), _level_rows({"level": trend}),
        picture=level_picture(shut.view(), height=_SLIDE))


def _two_actives(plant: Plant) -> Still | str:
    if not plant.pair or not plant.pair.sync:
        return _NO_PAIR
    # With one of several sync cables left the beats are still heard.
    cut = _after(plant, tuple(f"{cable}: cut" for cable in plant.pair.sync), 1.0,
                 settings=PairSettings(ask_racks=False))
    if cut is None:
        return "its sync cable cannot be cut"
    roles = [e for e in cut.record if e.what == "role" and e.new == "active"]
    if not roles:
        return "its standby does not take a cut sync cable for a dead partner"
    cables = "the sync cable is" if len(plant.pair.sync) == 1 else "all sync cables are"
    words = (
        f"Rows of bars over time [ms]: {cables} cut at 1000 ms, and the standby does not "
        f"ask the racks. From {roles[-1].time_ms} ms on both controllers are active, and each "
        "rack has two writers by turns: neither of the two controls the plant.")
    return Still(
        "07", "A standby that does not ask the racks takes a cut sync cable for a dead partner.",
        words, RECORD, _record_rows(cut),
        picture=takeover_svg(cut, 900, 1500, words, title="Two actives"))


def _dark_panel(plant: Plant) -> Still | str:
    repeater = next((name for name, part in plant.parts.items() if part.kind == "repeater"), None)
    rig = _after(plant, f"{repeater}: no power", 29.0)
    if rig is None:
        return "this plant has no repeater that can lose its power"
    return _scheme(rig, "10", "What the lamps show. Which fault is it, and what do you check "
                              "next?", marks=False)


# ------------------------------------------------------------ lessons 08, 09, 11 and 12


def _flaws(plant: Plant) -> Still | str:
    if not plant.pair:
        return _NO_PAIR
    pair = plant.pair
    mtbf_h, mttr_h = _times(plant)
    flaws = Flaws(mtbf_h, mttr_h, pair.common_cause, pair.coverage, pair.diagnosed,
                           pair.test_interval_h, pair.restart_h)
    return Still(
        "08", "A real pair is down far more than the ideal one, and far less than one controller.",
        flaws_alt_text(flaws), ("version", "down [min a year]", "one outage in"),
        tuple((row.name, f"{row.down_min_per_a:.4g}", years_in_words(row.years_between))
              for row in flaw_rows(flaws)),
        picture=flaws_svg(flaws))


def _dead_standby(plant: Plant) -> Still | str:
    if not plant.pair:
        return _NO_PAIR
    mtbf_h, mttr_h = _times(plant)
    interval_h, seen = plant.pair.test_interval_h, plant.pair.diagnosed
    none, some = (latent_faults(interval_h, each, mtbf_h=mtbf_h, mttr_h=mttr_h)
                  for each in (0.0, seen))
    since_h = np.linspace(0, interval_h, 13)
    return Still(
        "09", "The chance of a dead standby grows from test to test; a lit lamp is no test.",
        f"Two saw-tooth lines over three test intervals: chance that the standby is dead and nobody knows "
        f"[%], proof test every {grouped(interval_h)} h. Each line rises from zero after a test. "
        f"With no self-diagnosis the mean is {percent(none.mean_dead, 2)}, with {100 * seen:g} % of the "
        f"faults seen at once {percent(some.mean_dead, 2)}.",
        ("hours since the test", "no fault seen at once [%]", f"{100 * seen:g} % seen at once [%]"),
        _rows(_numbers(since_h, "{:.0f}"),
              *(_numbers(100 * np.interp(since_h, each.time_h, each.dead), "{:.3f}")
                for each in (none, some))),
        picture=latent_svg(none, beside=(f"{100 * seen:g} % seen", some)))


def _mtbf_limits(plant: Plant) -> Still:
    claim_h, _ = _times(plant)
    watched_h = 2 * HOURS_PER_YEAR
    hours = np.array([1, 2, 4, 8, 16, 32]) * HOURS_PER_YEAR
    proven = {n: [mtbf_limits(each, n, sided="lower").lower for each in hours] for n in (0, 1, 3)}
    here = mtbf_limits(watched_h, 0, sided="lower").lower
    return Still(
        "11", "A year without a failure proves less than it seems.",
        f"Three rising lines on logarithmic axes: MTBF proven at 90 % confidence [h] over "
        f"unit-hours watched [h], for 0, 1 and 3 failures. {grouped(watched_h)} h without a "
        f"failure, two units for a year, prove {grouped(here)} h, far below the claimed "
        f"{grouped(claim_h)} h.",
        ("unit-hours watched [h]", *(f"MTBF at least [h], failures: {n}" for n in proven)),
        _rows(_numbers(hours, "{:.0f}"), *(_numbers(each, "{:.0f}") for each in proven.values())),
        draw=partial(plot_mtbf_limits, claim_h, watched_h))


def _year(plant: Plant) -> Still | str:
    if plant.name != load_plant().name:
        return "the invented year of records belongs to another plant"
    log = clean_log(example_year(), plant)
    failed = [one for one in log.rows if one.failure]
    return Still(
        "11", "Few of the rows are failures; what is missing counts as much as what is there.",
        year_words(log, plant),
        ("start", "part", "down [h]", "what was written"),
        tuple((f"{one.row.start:%Y-%m-%d %H:%M}", one.row.designation, f"{one.duration_h:.2f}",
               one.row.text) for one in failed),
        draw=partial(plot_year, log, plant))


def _tornado(plant: Plant) -> Still | str:
    if not plant.costs or len(plant.variants) < 2:
        return "this plant has no costs or no variants"
    outcomes = compare_variants(plant, "fixed")
    # The verdict on the edge is the one worth a look; else that on the step with the most gain.
    since, variant = ("V0 air", "V1a air") if {"V0 air", "V1a air"} <= set(plant.variants) else (
        outcomes[0].variant, rank_variants(outcomes)[0].variant)
    swings = sensitivity(plant, variant, since, "fixed")
    return Still(
        "12", f"{variant} against {since}: a verdict that turns within usual limits is no verdict yet.",
        tornado_words(swings),
        ("assumption", "value", "low", "high", "net at low", "net at high"),
        tuple((swing.assumption.key, *_numbers((swing.assumption.value, swing.assumption.low,
                                                swing.assumption.high)),
               f"{swing.net_low:.0f}", f"{swing.net_high:.0f}") for swing in swings[:7]),
        picture=tornado_svg(swings))


def _variants(plant: Plant) -> Still | str:
    if not plant.costs:
        return "this plant has no costs"
    outcomes = compare_variants(plant)
    return Still(
        "12", "What a variant is worth, less what it costs, decides; not the number of nines.",
        variants_alt_text(outcomes, plant.currency),
        ("variant", f"loss [{plant.currency} a year]", f"price [{plant.currency} a year]",
         "what it is"),
        tuple((outcome.variant, f"{outcome.loss_per_year:.0f}", f"{outcome.price_per_year:.0f}",
               outcome.about) for outcome in outcomes),
        picture=variants_svg(outcomes, currency=plant.currency))


_MAKERS: tuple[Callable[[Plant], Still | str], ...] = (
    _survival, _histories, _next_failures, _two_states_in_time, _plant, _power_cut, _takeover,
    _time_outs, _hold_times, _level_shut_valve, _two_actives, _flaws, _dead_standby, _dark_panel,
    _mtbf_limits, _year, _variants, _tornado,
)
