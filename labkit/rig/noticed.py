"""Whether a failure is noticed at once, by what and by whom: from running the rig.

A fault is switched on in a settled healthy plant, and lamps, alarms and process are watched until
one of them says something else. The plant file states the share of a part's failures that are
noticed where that is known better; then the kinds of fault follow it:

* Stated below what the rig shows: of every kind that the rig shows, that much less is noticed.
* Stated above: the rest is seen by people, and of every kind that the rig does not show the same
  share.

So the kinds together always give the stated share. Kinds that leave their part working count in
neither. For a unit of a pair the file states it as `diagnosed`: how much of a standby's failures.

`share_noticed` is what the sums read (`labkit.plant.plant.Plant.share_noticed`), `notice_of` what
papers, test sheet and fault finding read.
"""

from dataclasses import dataclass
from functools import lru_cache

from labkit.arguments import written
from labkit.plant.plant import Plant
from labkit.rig.checks import told
from labkit.rig.effects import Effect, shows
from labkit.rig.rates import weight_of
from labkit.switchover.fault_kinds import Fault, faults_of
from labkit.wording import listed

FOLK = "people, as the file says"


@dataclass(frozen=True)
class Notice:
    """Hold how much of a fault is noticed at once, by what, and by whom.

    Parameters
    ----------
    share : float
        Of these faults, 0 to 1.
    by : str
        Which alarm, lamps or sign of the process show it; empty for none.
    who : str
        Who sees that; empty for nobody.
    stated : str
        What the plant file says of it; empty where the rig alone speaks.

    >>> Notice(1.0, "lamps of TF1", "who passes TF1").share
    1.0
    """

    share: float
    by: str
    who: str
    stated: str = ""


def notice_of(plant: Plant, fault: Fault, effect: Effect) -> Notice:
    """Say how much of a fault is noticed at once, from what its run shows and the file states.

    >>> from labkit import load_plant
    >>> from labkit.rig.effects import effect_of
    >>> plant = load_plant("elderhang")
    >>> found = notice_of(plant, faults_of(plant)["GP1: dead"], effect_of(plant, "GP1: dead"))
    >>> found.share, found.by
    (0.3, 'alarm: GP1 gives no good reading or does not run')
    """
    seen = notice_of_all(effect)
    part = plant.parts.get(fault.unit)
    if part is None or part.noticed is None or _in_pair(plant, fault.unit) or \
            not fault.breaks or fault.kind.share is None:
        return seen
    shown, by, who = bool(seen.share), seen.by, seen.who
    own = {mode.how: mode.noticed for mode in plant.modes_of(fault.unit)}
    if any(each is not None for each in own.values()):
        share = 1.0 if own[fault.how] is None else own[fault.how]
        said = f"the file: {100 * share:g} % of these are noticed"
        return Notice(share, by, who if shown else FOLK, said if share != shown else "")
    stated = f"the file: {100 * part.noticed:g} % of the failures of {fault.unit} are noticed" + (
        f" ({part.noticed_note})" if part.noticed_note else "")
    rig = share_noticed(plant, fault.unit)
    if part.noticed <= rig:
        share = part.noticed / rig if shown and rig > 0 else 0.0
    else:
        share = 1.0 if shown else (part.noticed - rig) / (1.0 - rig)
    if not shown and share > 0:
        by, who = part.noticed_note or "nothing that the rig shows", FOLK
    return Notice(share, by, who, "" if share == shown and shown else stated)


def notice_of_all(effect: Effect) -> Notice:
    """Say by what and by whom a course is noticed, from its run alone.

    >>> from labkit import load_plant
    >>> from labkit.rig.effects import effect_of
    >>> notice_of_all(effect_of(load_plant(), "TF1: no power")).who
    'whoever passes TF1 and PH1'
    """
    return Notice(float(effect.noticed or bool(effect.happenings)), _by(effect), _who(effect))


def share_noticed(plant: Plant, unit: str) -> float:
    """Return which share of the failures of a part, or of an event, the rig shows at once.

    With every unit of the pair leading as often as the other; for a unit of the pair while it
    stands by. A failure that leaves nothing broken counts in neither.

    Raises
    ------
    ValueError
        If there is no such part or event.

    >>> from labkit import load_plant
    >>> round(share_noticed(load_plant(), "KF10A"), 6), share_noticed(load_plant(), "BL1")
    (0.95, 0.5)
    """
    if unit not in plant.parts and unit not in plant.shared_events:
        raise ValueError(f"unit must be a part or an event of the plant, got {written(unit)}")
    return _share(_Wired(plant), unit)


class _Wired:
    """Stand for a plant where its wiring alone counts: two that are wired alike are equal."""

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.key = (
            tuple((part.designation, part.kind, part.fed_at_once, part.joins, part.alarm)
                  for part in plant.parts.values()),
            plant.pair and (plant.pair.units, plant.pair.sync),
            tuple((each.name, each.breaks) for each in plant.shared_events.values()),
            tuple(plant.process.items()), plant.modes,
            tuple((of, *(each for each in table.items() if each[0] != "restored_h"))
                  for of, table in plant.how_often.items()))

    def __hash__(self) -> int:
        return hash(self.key)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Wired) and self.key == other.key


@lru_cache(maxsize=4096)
def _share(wired: _Wired, unit: str) -> float:
    plant = wired.plant
    leaders = [each for each in plant.pair.units if each != unit] if plant.pair is not None \
        else (None,)
    faults = [each for each in faults_of(plant).values() if each.unit == unit and each.breaks]
    weights = [weight_of(plant, each) for each in faults]
    if not sum(weights) > 0:
        return 1.0
    hidden = sum(weight * sum(not shows(plant, each.id, leader=leader) for leader in leaders)
                 for each, weight in zip(faults, weights, strict=True))
    return 1.0 - hidden / (sum(weights) * len(leaders))


def _in_pair(plant: Plant, unit: str) -> bool:
    return plant.pair is not None and unit in plant.pair.units


def _by(effect: Effect) -> str:
    """Say what shows a fault: the first alarm, then lamps; the process where these are silent."""
    said = [f"alarm: {effect.alarms[0]}"] if effect.alarms else []
    units = dict.fromkeys(each.unit for each in effect.lamps)
    if units:
        said.append(f"lamps of {listed(units, 3)}")
    if not said and effect.noticed:
        said.append("lamps, for a short time; see the record")
    if not said and effect.happenings:
        said.append(f"the process: {effect.happenings[-1].name}")
    return "; ".join(said)


def _who(effect: Effect) -> str:
    """Say who sees it."""
    if effect.alarms and told(effect):
        return "whoever reads the alarms"
    units = dict.fromkeys(each.unit for each in effect.lamps)
    if units:
        return f"whoever passes {listed(units, 3)}"
    if effect.noticed:
        return "whoever reads the record"
    return "whoever is at the process" if effect.happenings else ""
