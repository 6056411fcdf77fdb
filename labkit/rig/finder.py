"""From signs to causes, and to the check that tells most for its minutes.

Nothing is learnt from elsewhere: how often each cause comes follows from the plant file, and what
it shows follows from running the rules (`labkit.rig.effects`). Causes that show the same are told
apart by checks; which check comes next follows from the information that it is expected to give
for each minute (`labkit.evidence.diagnosis`). Loose and wrong cables come first where their rate
says so.

One cause at a time is taken to be present. It is not known who led before, so each cause is run
with every controller leading, and each of these runs weighs the same. A sign may be misread.

How often each kind of fault comes, and what people cause in a year, stands in the plant file
(`labkit.rig.rates`). Assumptions, all invented within common practice:

* an event without a rate in the plant file comes once in a hundred years;
* how often a sign is misread, and minutes for each kind of check and for the way to a place
  (`labkit.rig.checks`).
"""

import dataclasses
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType

from labkit.arguments import fraction, instance, mapping, one_of
from labkit.evidence.diagnosis import Check, CheckValue, posterior, prior_from_rates, rank_checks
from labkit.plant.plant import Plant
from labkit.rig.checks import ALARM, MISREAD, Look, Run, catalogue, expected_in, has_panel, told
from labkit.rig.effects import Do, Effect, course_of, effect_of
from labkit.rig.noticed import notice_of
from labkit.rig.rates import NO_FAULT, rates_of
from labkit.rig.rig import Rig
from labkit.rig.tank import Happening
from labkit.switchover.fault_kinds import WHO, faults_of
from labkit.switchover.lamps import Lamp, lamps_of
from labkit.switchover.settings import PairSettings, usual_settings
from labkit.wording import did_you_mean

MISREAD_ALARM = 1e-4
LED_BEFORE = "led before"
LEVEL = "tank level"


@dataclass(frozen=True)
class Suspect:
    """Hold one cause with its share.

    Parameters
    ----------
    cause : str
        Id of the fault, or `NO_FAULT`.
    label, place : str
        What it is in words, where to go for it.
    share : float
        Probability after all that was seen, 0 to 1.
    put_right, who : str
        What puts it right, and who may do that.

    >>> Suspect("WF9: cut", "WF9 sync cable: cut", "hall", 0.8, "Plugs first.", "operator").share
    0.8
    """

    cause: str
    label: str
    place: str
    share: float
    put_right: str
    who: str


class FaultFinder:
    """Find what is wrong with a plant from what can be seen and measured.

    Parameters
    ----------
    plant : Plant
    settings : PairSettings, optional

    Attributes
    ----------
    rates_per_h : dict of str to float
        How often each cause comes, per hour, as the plant file says.

    Examples
    --------
    >>> from labkit import load_plant
    >>> finder = FaultFinder(load_plant())
    >>> suspects = finder.suspects({"PH1 DATA": "yellow", "TF1 SUPPLY NEAR": "dark"})
    >>> suspects[0].cause
    'TF1: no power'
    """

    def __init__(self, plant: Plant, settings: PairSettings | None = None) -> None:
        instance("plant", plant, Plant)
        instance("settings", settings, PairSettings, or_none=True)
        self.plant = plant
        self.settings = settings or usual_settings(plant)
        self.faults = faults_of(plant)
        self.rates_per_h = rates_of(plant)

    def __repr__(self) -> str:
        return f"Fault finder of {self.plant.name}: signs, suspects(seen), next_checks(seen), explain(check)"

    # ------------------------------------------------------------ what can be seen

    @cached_property
    def runs(self) -> tuple[Run, ...]:
        """Every cause with every leader: its weight before anything is seen, and its signs."""
        units = self.plant.pair.units if self.plant.pair is not None else (None,)
        prior = prior_from_rates({cause: rate for cause, rate in self.rates_per_h.items()
                                  if rate > 0})
        found = []
        for leader in units:
            unseen = self._effect(NO_FAULT, leader)
            for cause, weight in prior.items():
                effect, fault = self._effect(cause, leader), self.faults.get(cause)
                seen = notice_of(self.plant, fault, effect).share if effect.noticed else 1.0
                # What goes unnoticed by the file leaves every sign as it was.
                found += [Run(cause, fault, leader, share * weight / len(units),
                              self._signs(shown), shown)
                          for share, shown in ((seen, effect), (1.0 - seen, unseen)) if share > 0]
        silent = {sign: "no" for run in found for sign in run.signs if sign.startswith(ALARM)}
        return tuple(dataclasses.replace(run, signs=silent | run.signs) for run in found)

    def _effect(self, cause: str, leader: str | None) -> Effect:
        if cause == NO_FAULT:
            # A fault that is off stays off: this is the plant left alone.
            quiet = Do("off", next(iter(self.faults)))
            return course_of(self.plant, [quiet], self.settings, leader=leader)
        return effect_of(self.plant, cause, self.settings, leader=leader)

    def _signs(self, effect: Effect) -> dict[str, str]:
        signs = _lamp_signs(effect.lamps_after)
        # Alarms stand on the panel: where that is blind nobody reads them.
        signs |= {f"{ALARM}{text}": "stands" for text in told(effect)}
        if len(effect.before.roles) > 1 and effect.leader is not None:
            signs[LED_BEFORE] = effect.leader
        if self.plant.process:
            signs[LEVEL] = _level(effect.happenings)
        return signs

    @cached_property
    def signs(self) -> Mapping[str, tuple[str, ...]]:
        """Every sign that can be seen, with what it can say: lamps, alarms, level, who led."""
        found: dict[str, set[str]] = {}
        for run in self.runs:
            for sign, value in run.signs.items():
                found.setdefault(sign, set()).add(value)
        return MappingProxyType({sign: tuple(sorted(values)) for sign, values in found.items()})

    def normal(self, leader: str | None = None) -> dict[str, str]:
        """Return all signs of the healthy plant.

        Parameters
        ----------
        leader : str, optional
            Who leads. Default: the first controller.

        Returns
        -------
        dict of str to str

        Raises
        ------
        ValueError
            If that controller cannot lead.
        """
        for run in self.runs:
            if run.cause == NO_FAULT and leader in (run.leader, None):
                return dict(run.signs)
        raise ValueError(f"leader must be one of {_listed(self.plant.controllers)}, "
                         f"got {leader!r}")

    def read(self, rig: Rig) -> dict[str, str]:
        """Return all signs that a rig of this plant shows now.

        Parameters
        ----------
        rig : Rig
            Of the same plant.

        Returns
        -------
        dict of str to str
            Lamps, alarms that somebody can read, level of the tank. What no single cause would
            show is left out.

        Examples
        --------
        >>> from labkit import load_plant
        >>> rig = Rig(load_plant())
        >>> rig.switch_on("PH1: dark")
        >>> rig.wait(10)
        >>> finder = FaultFinder(rig.plant)
        >>> finder.suspects(finder.read(rig))[0].cause
        'PH1: dark'
        """
        instance("rig", rig, Rig)
        snapshot = rig.snapshot()
        lamps = lamps_of(snapshot)
        signs = _lamp_signs(lamps)
        standing = snapshot.alarms if snapshot.panel_sees or not has_panel(lamps) else ()
        signs |= {sign: "stands" if sign.removeprefix(ALARM) in standing else "no"
                  for sign in self.signs if sign.startswith(ALARM)}
        if self.plant.process:
            signs[LEVEL] = _level(rig.happenings)
        return {sign: value for sign, value in signs.items()
                if value in self.signs.get(sign, ())}

    # ------------------------------------------------------------ what it says

    def _weights(self, signs: Mapping[str, str], results: Mapping[str, str]) -> list[float]:
        """Return the weight of each run after signs and results of checks."""
        mapping("signs", signs, "sign to value")
        mapping("results", results, "check to result")
        for sign, value in signs.items():
            if sign not in self.signs:
                raise ValueError("signs must have names that the plant shows, got "
                                 f"{sign!r}{did_you_mean(sign, self.signs, repr)}")
            one_of(f"signs[{sign!r}]", value, self.signs[sign])
        for name, outcome in results.items():
            if name not in self._expected:
                raise ValueError(f"results must have names of checks, got {name!r}")
            one_of(f"results[{name!r}]", outcome, self._expected[name][0])
        found = []
        for place, run in enumerate(self.runs):
            weight = run.weight
            for sign, value in signs.items():
                others = len(self.signs[sign]) - 1
                wrong = MISREAD_ALARM if sign.startswith(ALARM) else MISREAD
                if others:
                    weight *= 1.0 - wrong if run.signs[sign] == value else wrong / others
            for name, outcome in results.items():
                weight *= self._expected[name][place][outcome]
            found.append(weight)
        if not sum(found) > 0:
            raise ValueError("results must be possible together, got chance 0 for every cause")
        return found

    def _by_cause(self, weights: Iterable[float]) -> dict[str, float]:
        found: dict[str, float] = {}
        for run, weight in zip(self.runs, weights, strict=True):
            found[run.cause] = found.get(run.cause, 0.0) + weight
        return found

    def shares(self, signs: Mapping[str, str] | None = None,
               results: Mapping[str, str] | None = None) -> dict[str, float]:
        """Return the share of each cause after what was seen and measured.

        Parameters
        ----------
        signs : mapping of str to str, optional
            From `signs`; those that nobody looked at are left out.
        results : mapping of str to str, optional
            Results of checks, by the name of the check.

        Returns
        -------
        dict of str to float
            Probabilities in [0, 1]; they sum to 1.

        Raises
        ------
        ValueError
            If a sign, a check or a value is not known, or all is impossible together.
        """
        weights = self._weights({} if signs is None else signs, {} if results is None else results)
        sums = self._by_cause(weights)
        before = self._by_cause([run.weight for run in self.runs])
        # Bayes' rule: weight before, times the mean chance of all signs over who led.
        return posterior(before, {cause: min(1.0, sums[cause] / before[cause])
                                  for cause in before})

    def suspects(self, signs: Mapping[str, str] | None = None,
                 results: Mapping[str, str] | None = None, *,
                 least_share: float = 0.005) -> tuple[Suspect, ...]:
        """Rank the causes by their share.

        Parameters
        ----------
        signs, results : mapping of str to str, optional
            As in `shares`.
        least_share : float
            Causes below this are left out, 0 to 1.

        Returns
        -------
        tuple of Suspect
            The largest share first.

        Raises
        ------
        ValueError
            As in `shares`.
        """
        least_share = fraction("least_share", least_share)
        found = sorted(self.shares(signs, results).items(), key=lambda each: (-each[1], each[0]))
        return tuple(self._suspect(cause, share) for cause, share in found if share >= least_share)

    def _suspect(self, cause: str, share: float) -> Suspect:
        if cause == NO_FAULT:
            return Suspect(cause, "no fault: the plant is as it should be", "", share,
                           "Nothing to put right: write down what was seen, and by whom.",
                           WHO[0])
        fault = self.faults[cause]
        label = f"no fault: {fault.label}" if fault.mode == "planned test" else fault.label
        return Suspect(cause, label, fault.place, share, fault.put_right,
                       fault.kind.who)

    # ------------------------------------------------------------ what to look at next

    @cached_property
    def _looks(self) -> dict[str, Look]:
        return {look.name: look for look in catalogue(self.plant)
                if look.chances is not None}

    @cached_property
    def _expected(self) -> dict[str, tuple[dict[str, float], ...]]:
        """For each check the chance of every outcome, run by run."""
        return {name: expected_in(look, self.runs) for name, look in self._looks.items()}

    def checks(self, signs: Mapping[str, str] | None = None,
               results: Mapping[str, str] | None = None) -> tuple[Check, ...]:
        """Return every check that is left, with its outcomes under each cause.

        Parameters
        ----------
        signs, results : mapping of str to str, optional
            As in `shares`. Checks that were made, and lamps that were read, are left out.

        Returns
        -------
        tuple of Check

        Raises
        ------
        ValueError
            As in `shares`.
        """
        signs, results = {} if signs is None else signs, {} if results is None else results
        weights = self._weights(signs, results)
        whole = self._by_cause(weights)
        found = []
        for name, look in self._looks.items():
            read = {sign for sign in self.signs if look.reads and sign.startswith(look.reads)}
            if name in results or read and read <= signs.keys():
                continue
            expected = self._expected[name]
            under = {outcome: dict.fromkeys(whole, 0.0) for outcome in expected[0]}
            for run, weight, chances in zip(self.runs, weights, expected, strict=True):
                if whole[run.cause] > 0:
                    for outcome, chance in chances.items():
                        under[outcome][run.cause] += chance * weight / whole[run.cause]
            under = {outcome: {cause: min(1.0, chance) for cause, chance in chances.items()}
                     for outcome, chances in under.items()}
            for cause, weight in whole.items():
                if weight == 0:
                    under[next(iter(under))][cause] = 1.0
            found.append(Check(name, look.minutes, under))
        return tuple(found)

    def next_checks(self, signs: Mapping[str, str] | None = None,
                    results: Mapping[str, str] | None = None) -> tuple[CheckValue, ...]:
        """Rank the checks that are left by what they tell for each minute.

        Parameters
        ----------
        signs, results : mapping of str to str, optional
            As in `shares`.

        Returns
        -------
        tuple of CheckValue
            The most information per minute first.

        Raises
        ------
        ValueError
            As in `shares`.

        Examples
        --------
        >>> from labkit import load_plant
        >>> finder = FaultFinder(load_plant())
        >>> finder.next_checks({"PH1 DATA": "yellow"})[0].minutes < 10
        True
        """
        return rank_checks(self.shares(signs, results), self.checks(signs, results))

    def explain(self, check: str) -> str:
        """Return how a check is made, and which readings are to be expected.

        Parameters
        ----------
        check : str
            Its name.

        Returns
        -------
        str

        Raises
        ------
        ValueError
            If there is no such check.
        """
        return self._looks[one_of("check", check, self._looks)].how


def _lamp_signs(lamps: Iterable[Lamp]) -> dict[str, str]:
    return {f"{lamp.unit} {lamp.name}":
            ("dark" if not lamp.lit else f"{lamp.colour}, flashing" if lamp.flashing
             else lamp.colour) for lamp in lamps}


def _level(happenings: Iterable[Happening]) -> str:
    names = {each.name for each in happenings}
    return "high" if "overflow" in names else "low" if "low trip" in names else "as ever"


def _listed(names: Iterable[str]) -> str:
    return ", ".join(map(str, names))
