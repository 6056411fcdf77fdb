"""Lesson 12, your own plant: is it worth it, and does it work?"""

import functools
from types import SimpleNamespace

from labkit.evidence.claims import trials_needed
from labkit.plant.plant import load_plant
from labkit.plant.variants import Outcome, Ranked, compare_variants, outage_cost, rank_variants
from labkit.switchover.settings import PairSettings, switchover_budget
from labkit.wording import shown
from lessons.exercises.item_file import read_items
from lessons.exercises.misconceptions import misconception
from lessons.items.rigs import rig

STEPS = {"V1a": "second controller", "V1b": "supply and UPS doubled"}
NEAR = 0.05
LASTS = {"fixed": "as long as its mean", "exponential": "longer or shorter, as repairs do"}


@functools.cache
def _outcomes(name: str, durations: str) -> dict[str, Outcome]:
    return {each.variant: each for each in compare_variants(load_plant(name), durations)}


@functools.cache
def _ranked(name: str, durations: str, since: str) -> dict[str, Ranked]:
    outcomes = _outcomes(name, durations)
    return {each.variant: each for each in rank_variants(outcomes.values(), since)}


def _step(variant: str, air: bool = False, durations: str = "fixed") -> Ranked:
    """What a step of the plant gains, with blowers that fail to off or to on."""
    ending = " air" if air else ""
    return _ranked("brackenquay", durations, f"V0{ending}")[f"{variant}{ending}"]


def worth_text(durations: str = "fixed", *, air: bool = False) -> str:
    """Say what the two steps of the plant gain and cost a year.

    Parameters
    ----------
    durations : str
        ``fixed`` or ``exponential``; see `labkit.plant.variants`.
    air : bool
        Whether the blowers fail to on.

    Returns
    -------
    str
        A line for the plant with everything single, and one for each step.

    >>> print(worth_text().splitlines()[0])
    everything single: loss EUR 16 472 a year, control down 193 min a year
    """
    ending = " air" if air else ""
    outcomes = _outcomes("brackenquay", durations)
    base = outcomes[f"V0{ending}"]
    down = base.down_min_per_year["control kept"]
    lines = [f"everything single: loss EUR {shown(base.loss_per_year)} a year, control down "
             f"{down:.0f} min a year"]
    for variant, words in STEPS.items():
        step, outcome = _step(variant, air, durations), outcomes[f"{variant}{ending}"]
        lines.append(
            f"{words}: gain EUR {shown(step.gain_per_year)}, price EUR "
            f"{shown(step.price_per_year)}, net EUR {shown(round(step.net_per_year))} a year; "
            f"control down {outcome.down_min_per_year['control kept']:.0f} min a year")
    return "\n".join(lines).replace("\u202f", " ")


def _priced(down_min: float) -> float:
    return outage_cost(load_plant(), down_min)


SURE_EUR = 11_700.0


PLANTS = {
    "Brackenquay": ("brackenquay", "V0", STEPS),
    "Elderhang": ("elderhang", "as built", {"pair": "second controller",
                                            "test": "test before the season"}),
    "Mirelow": ("mirelow", "no spare", {"pair": "second controller",
                                        "spare": "spare on the shelf"}),
}


def _plants(numbers: SimpleNamespace) -> dict[str, object]:
    found = {"how": LASTS[numbers.durations]}
    for name, (file, since, steps) in PLANTS.items():
        ranked = _ranked(file, numbers.durations, since)
        best = max(steps, key=lambda variant: ranked[variant].gain_per_money)
        pair = next(variant for variant, words in steps.items() if words == "second controller")
        found[f"best_{name}"] = steps[best]
        found[f"pays_{name}"] = "yes" if ranked[pair].pays else "no"
        found[f"said_{name}"] = "; ".join(
            f"{words}: gain {shown(ranked[variant].gain_per_year)}, price "
            f"{shown(ranked[variant].price_per_year)}" for variant, words in steps.items())
    return found


COMPARED = {"pair": ("V1a air", "V0 air"), "supply": ("V1b air", "V0 air")}


def _comparison(numbers: SimpleNamespace) -> dict[str, object]:
    outcomes = _outcomes("brackenquay", numbers.durations)
    found = {"how": LASTS[numbers.durations]}
    for key, (variant, since) in COMPARED.items():
        step = _ranked("brackenquay", numbers.durations, since)[variant]
        found |= {f"before_{key}": outcomes[since].loss_per_year,
                  f"loss_{key}": outcomes[variant].loss_per_year,
                  f"price_{key}": step.price_per_year, f"gain_{key}": step.gain_per_year,
                  f"net_{key}": float(round(step.net_per_year)),
                  f"verdict_{key}": "break-even" if abs(step.net_per_year)
                  <= NEAR * step.price_per_year else "pays" if step.pays else "does not pay"}
    return found


SHEET_ROWS = {
    "power of KF1 off": ("KF1: no power",),
    "sync cable WF9 out": ("WF9: cut",),
    "WF1.10 and WF2.10 out": ("WF1+WF2: cut",),
}


def _expected(*faults: str) -> str:
    """What the rules do with faults of a healthy pair, in the words of the sheet."""
    before, after = rig(1.0).snapshot(), rig(1.0, *faults, 5.0).snapshot()
    if any(state.value == "fail state" for state in after.outputs.values()):
        return "fail state"
    return "must switch" if after.writers != before.writers else "must not switch"


def _sheet(numbers: SimpleNamespace) -> dict[str, object]:
    settings = PairSettings(missed_beats=numbers.beats)
    return {
        "most_ms": switchover_budget(settings).most_ms,
        "least_ms": switchover_budget(settings).least_ms,
        "hold_ms": settings.hold_ms,
        "trials": trials_needed(numbers.success, 0.95),
        "fewer": trials_needed(numbers.success, 0.95) - 1,
        "one_in": 1 / (1 - numbers.success),
        **{f"expected_{place}": _expected(*faults)
           for place, faults in enumerate(SHEET_ROWS.values())},
    }


LESSON = read_items(__file__, globals())
