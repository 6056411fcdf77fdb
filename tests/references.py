"""Values from outside that the models are checked against, each with its source.

A row holds the numbers as they were printed, so that a check can ask for exactly the digits
that somebody published: half a unit in the last printed place, or a whole unit where the source
cut instead of rounding (`units_off`). `recomputed` is an independent computation in 40 digits.

Kinds: *found*, the printed number was read in the source named, which says who wrote it and when;
*practice*, common practice, printed alike in many places; *memory*, quoted from memory, with the
confidence in `kind_note`; *fact*, which follows from a definition by the sum that `source` names.

>>> value("C18")
0.97848
>>> values("D11")
(0.13168724279835392,)
>>> agrees("D3", 0.997625)
"""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import numpy as np

__all__ = [
    "COURTOIS",
    "DIGITS_KEPT",
    "FACTS",
    "REFERENCES",
    "TRAPS",
    "DigitsKept",
    "Fact",
    "Reference",
    "Trap",
    "agrees",
    "agrees_closely",
    "exact_value",
    "exact_values",
    "off_by",
    "population_chain",
    "reference",
    "trap",
    "value",
    "values",
]

# A double carries 2.2e-16; a printed value with 16 figures cannot be asked of it to half a unit.
FLOOR = 4e-15


@dataclass(frozen=True)
class Reference:
    """One published value, or one row of values.

    `printed` and `recomputed` are lists of numerals separated by commas. `exact` says that the
    printed numerals are the value itself and not a rounding of it; `figures` is the number of
    significant figures to trust where fewer are right than are printed.
    """

    id: str
    quantity: str
    inputs: str
    printed: str
    recomputed: str
    source: str
    kind: str
    kind_note: str = ""
    note: str = ""
    units_off: float = 0.5
    exact: bool = False
    figures: int | None = None


@dataclass(frozen=True)
class Trap:
    """An approximation, the exact value, and by how many percent they differ."""

    id: str
    approximation: str
    approximate: str
    exact: str
    percent_off: str


@dataclass(frozen=True)
class DigitsKept:
    """A small probability and the relative errors of three ways to compute it in doubles."""

    case: str
    smallest: str
    without_subtraction: float
    lu_of_normalised: float
    one_minus: float | None


@dataclass(frozen=True)
class Fact:
    """A fact without arithmetic."""

    id: str
    item: str
    says: tuple[str, ...]
    source: str
    kind: str
    kind_note: str = ""


REFERENCES = {row.id: row for row in (
    # A: Availability, nines and downtime per year
    Reference(
        "A1", "downtime per year, 99 %", "A=0.99, 365 d", "3.65", "3.65",
        "common practice: tables of nines, alike in many texts; a year of 365 days", "practice",
        note="days",
    ),
    Reference(
        "A2", "downtime per year, 99.9 %", "A=0.999, 8760 h", "8.76", "8.76",
        "common practice: tables of nines, alike in many texts; a year of 365 days", "practice",
        note="hours",
    ),
    Reference(
        "A3", "downtime per year, 99.99 %", "A=0.9999, 8760 h", "52.56", "52.56",
        "common practice: tables of nines, alike in many texts; a year of 365 days", "practice",
        note="minutes",
    ),
    Reference(
        "A4", "downtime per year, 99.999 %", "A=0.99999, 8760 h", "5.26", "5.256",
        "common practice: tables of nines, alike in many texts; a year of 365 days", "practice",
        note="minutes",
    ),
    Reference(
        "A5", "downtime per year, 99.9999 %", "A=0.999999, 8760 h", "31.5", "31.536",
        "common practice: tables of nines, alike in many texts; a year of 365 days", "practice",
        note="seconds",
    ),
    Reference(
        "A7", "downtime per day, 99.9 %", "A=0.999, 24 h", "1.44", "1.44",
        "common practice: tables of nines, alike in many texts; a year of 365 days", "practice",
        note="minutes",
    ),
    Reference(
        "A9", "downtime per month, 99.9 % (year/12)", "A=0.999, 730 h", "43.8", "43.8",
        "common practice: tables of nines, alike in many texts; a year of 365 days", "practice",
        note="minutes",
    ),
    Reference(
        "A14", "availability from MTBF and MTTR", "MTBF 500000 h, MTTR 4 h", "0.999992",
        "0.999992", "sum by hand: MTBF / (MTBF + MTTR)", "fact",
    ),
    Reference(
        "A15", "downtime per year of A14", "MTBF 500000 h, MTTR 4 h, 8760 h", "4.2", "4.20477",
        "sum by hand: MTBF / (MTBF + MTTR)", "fact", note="minutes",
    ),
    Reference(
        "A16", "inherent availability", "MTTF 81.5 y (713940 h), MTTR 1 h", "0.99999860",
        "0.99999859932", "sum by hand: MTTF / (MTTF + MTTR)",
        "fact",
    ),
    # B: Two-state Markov model A(t)
    Reference(
        "B2", "stationary vector of a generator", "rates 0->1: 3, 1->0: 4", "4/7, 3/7",
        "0.571428571428571, 0.428571428571429",
        "QuantEcon.py (open library), quantecon/markov/tests/test_gth_solve.py, commit 1acad6d",
        "found",
        exact=True,
    ),
    Reference(
        "B3", "stationary vector of a stochastic matrix", "[[0.4,0.6],[0.2,0.8]]", "0.25, 0.75",
        "0.25, 0.75",
        "QuantEcon.py (open library), quantecon/markov/tests/test_gth_solve.py, commit 1acad6d",
        "found", exact=True,
    ),
    Reference(
        "B7", "discrete chain, state vector after 1 step", "P=[[.6,.4],[.3,.7]], p0=[.8,.2]",
        "0.54, 0.46", "0.54, 0.46",
        "Gonen, Electric Power Distribution System Engineering, example of a discrete chain, "
        "from memory", "memory",
        kind_note="inputs found, outputs memory (0.8)", exact=True,
    ),
    # C: Series, parallel, k-out-of-n blocks (no repair)
    Reference(
        "C1", "single unit survival", "lambda=0.00034/h, t=720 h", "0.7829", "0.7828611",
        "sum by hand: exp(-lambda t)", "fact",
    ),
    Reference(
        "C2", "active pair survival", "lambda=0.00034/h, t=720 h", "0.95285", "0.9528507",
        "sum by hand: 1 - (1 - exp(-lambda t))^2", "fact",
    ),
    Reference(
        "C4", "equivalent rate with idle time and failure on demand",
        "20 min run at 0.01/h, 40 min idle at 0.0002/h, p=0.03 per start", "0.033467",
        "0.033466667",
        "sum by hand: (20 x 0.01 + 40 x 0.0002) / 60 + 0.03 starts per hour", "fact",
        note="per hour",
    ),
    Reference(
        "C5", "survival with C4 rate",
        "rate 0.0334667 per h (the 20 min run, 40 min idle unit), 24 h", "0.4479", "0.4478934",
        "sum by hand: exp(-24 h x rate of C4)", "fact",
    ),
    Reference(
        "C6", "P(2 or more failures), Poisson", "rate 0.2, t=5", "0.2642", "0.2642411",
        "sum by hand: 1 - e^-1 - e^-1, Poisson of mean 1", "fact",
    ),
    Reference(
        "C18", "bridge of five units, reliability", "p=0.9 each: 2p^2+2p^3-5p^4+2p^5", "0.97848",
        "0.97848", "sum by hand: 2p^2 + 2p^3 - 5p^4 + 2p^5, the bridge of many textbooks", "fact",
        exact=True,
    ),
    Reference(
        "C19", "parallel MTTF multiples, n = 2, 3, 4", "like units, in units of 1/lambda",
        "3/2, 11/6, 25/12", "1.5, 1.83333333333333, 2.08333333333333",
        "sum by hand: 1 + 1/2 + ... + 1/n",
        "fact", exact=True,
    ),
    # D: Repairable pairs and repair crews: steady state
    Reference(
        "D1", "required mu/lambda, 4 like subsystems in series, one crew", "n=4, A_s=0.90", "38.9",
        "38.9211", "MIL-HDBK-338B (1 Oct 1998), sec. 10.7.1.1 Case (1)", "found",
        note="the page's equation image was not stored; this model reproduces 38.9, the "
        "independent-units model gives 37.47 and the shut-down model 36",
    ),
    Reference(
        "D3", "pair availability, cold standby, 1 crew", "lambda=0.01, mu=0.2", "0.998",
        "0.997625",
        "MIL-HDBK-338B (1 Oct 1998), table of redundant systems with repair, from memory", "memory",
        kind_note="memory (0.8)",
    ),
    Reference(
        "D4", "pair availability, parallel, 1 crew", "lambda=0.01, mu=0.2", "0.996", "0.995475",
        "MIL-HDBK-338B (1 Oct 1998), table of redundant systems with repair, from memory", "memory",
        kind_note="memory (0.8)",
        note="exact 0.995475: rounds to 0.995, printed 0.996; last digit +-1", units_off=1.0,
    ),
    Reference(
        "D5", "pair availability, cold standby, 2 crews", "lambda=0.01, mu=0.2", "0.999",
        "0.998811",
        "MIL-HDBK-338B (1 Oct 1998), table of redundant systems with repair, from memory", "memory",
        kind_note="memory (0.8)",
    ),
    Reference(
        "D6", "pair availability, parallel, 2 crews", "lambda=0.01, mu=0.2", "0.998", "0.997732",
        "MIL-HDBK-338B (1 Oct 1998), table of redundant systems with repair, from memory", "memory",
        kind_note="memory (0.8)",
    ),
    Reference(
        "D8", "parallel pair, system failure rate (approximate equations)",
        "0.05 and 0.02 f/yr, repair 20 h and 25 h", "5.14E-06", "5.13699e-6",
        "Billinton & Allan, Reliability Evaluation of Engineering Systems, Ex. 11.2, from "
        "memory", "memory", kind_note="inputs found, outputs memory (0.85)",
        note="failures per year",
    ),
    Reference(
        "D9", "same, mean repair time", "r1=20 h, r2=25 h: r1 r2/(r1+r2)", "11.1", "11.1111",
        "Billinton & Allan, Reliability Evaluation of Engineering Systems, Ex. 11.2, from "
        "memory", "memory", kind_note="inputs found, outputs memory (0.9)", note="hours",
    ),
    Reference(
        "D10", "same, unavailability", "0.05 and 0.02 f/yr, repair 20 h and 25 h: lambda_p r_p",
        "5.71E-05", "5.70776e-5",
        "Billinton & Allan, Reliability Evaluation of Engineering Systems, Ex. 11.2, from "
        "memory", "memory", kind_note="inputs found, outputs memory (0.85)",
        note="hours per year",
    ),
    Reference(
        "D11", "P(all five units down), own crew each", "lambda=4/day, mean repair 0.5 day",
        "32/243", "0.131687242798354",
        "sum by hand: (lambda / (lambda + mu))^5", "fact",
        note="(2/3)^5", exact=True,
    ),
    Reference(
        "D12", "series system, repaired only when down: A=(1+sum lambda_i MTTR_i)^-1",
        "two units, lambda*MTTR = 0.01 and 0.02", "0.970873786", "0.970873786408",
        "sum by hand: 1 / (1 + 0.03); formula of MIL-HDBK-338B (1 Oct 1998), Eq. (10.30)", "fact",
    ),
    # E: Mean time to failure: pairs, shared spares, dependencies, latent faults, repair
    Reference(
        "E20",
        "active pair, one element's failures hidden: MTTF by the printed chain equals "
        "1/lambda1 + 1/lambda2 when lambda1+lambda2 << mu",
        "lambda1=lambda2=1e-6, mu=1 (ratio to 1/l1+1/l2)", "1.00000", "0.9999995",
        "sum by hand from the chain of Birolini, Reliability Engineering, 5th ed. 2007, p. "
        "243, Ex. 6.16", "fact", kind_note="chain found, value is mathematical fact",
    ),
    Reference(
        "E21", "same chain at practical numbers", "lambda1=lambda2=1e-3/h, mu=0.25/h",
        "1996.03174603175", "1996.03174603174603",
        "sum by hand from the chain of Birolini, Reliability Engineering, 5th ed. 2007, p. "
        "243, Ex. 6.16", "fact", note="hours; the fully seen pair would have 126500 h",
    ),
    Reference(
        "E22", "hot pair with repair, MTTF=(3 lambda+mu)/(2 lambda^2)", "lambda=1e-3/h, mu=0.25/h",
        "126500", "126500.0",
        "sum by hand from the balance of the chain; formulas of Birolini, Reliability "
        "Engineering, 5th ed. 2007, from memory", "fact", note="hours",
        exact=True,
    ),
    Reference(
        "E23", "cold pair with repair, MTTF=(2 lambda+mu)/lambda^2", "lambda=1e-3/h, mu=0.25/h",
        "252000", "252000.0",
        "sum by hand from the balance of the chain; formulas of Birolini, Reliability "
        "Engineering, 5th ed. 2007, from memory", "fact", note="hours",
        exact=True,
    ),
    Reference(
        "E24",
        "hot pair with repair and coverage c: chain against [lambda(1+2c)+mu]/(2 "
        "lambda[lambda+mu(1-c)])", "lambda=1e-3/h, mu=0.25/h, c=0.95 (ratio)", "1.0000000000",
        "1.0",
        "Trivedi, Probability and Statistics with Reliability, Queuing and Computer Science "
        "Applications, 2nd ed., coverage model, from memory", "memory",
        kind_note="formula memory (0.95)",
    ),
    Reference(
        "E25", "value of E24", "lambda=1e-3/h, mu=0.25/h, c=0.95", "9366.66666666667",
        "9366.66666666666667",
        "sum by hand: the formula of E24", "fact",
        note="hours; 5 % uncovered cuts 126500 h to 9367 h",
    ),
    Reference(
        "E26", "mirrored disks, MTTF approximation MTTF^2/(2 MTTR)", "6e6 h, 120 h", "1.5E+11",
        "1.5e+11",
        "sum by hand: MTTF^2 / (2 MTTR)",
        "fact", note="hours; exact pair 1.50009e11",
    ),
    Reference(
        "E27", "mirrored array, MTTF", "D=100, G=1, C=1, disk 30000 h, MTTR 1 h", "4.5E+06",
        "4.5e+6",
        "Patterson, Gibson & Katz, A Case for Redundant Arrays of Inexpensive Disks, SIGMOD "
        "1988, tables for levels 1-3, from memory", "memory", kind_note="memory (0.9)",
        note="hours",
    ),
    Reference(
        "E28", "single-check array, G=10, MTTF", "D=100, G=10, C=1, disk 30000 h, MTTR 1 h",
        "8.2E+05", "818182",
        "Patterson, Gibson & Katz, A Case for Redundant Arrays of Inexpensive Disks, SIGMOD "
        "1988, tables for levels 1-3, from memory", "memory", kind_note="memory (0.9)",
        note="hours",
    ),
    Reference(
        "E29", "single-check array, G=25, MTTF", "D=100, G=25, C=1, disk 30000 h, MTTR 1 h",
        "3.46E+05", "346154",
        "Patterson, Gibson & Katz, A Case for Redundant Arrays of Inexpensive Disks, SIGMOD "
        "1988, tables for levels 1-3, from memory", "memory", kind_note="memory (0.9)",
        note="hours",
    ),
    Reference(
        "E32",
        "3-of-5 active units with repair, effective failure rate n! lambda^(q+1)/((n-q-1)! mu^q)",
        "n=5, q=2, lambda=220e-6/h, mu=1/3 per h", "5.75E-09", "5.74992e-9",
        "RADC Reliability Engineer's Toolkit (1988), redundancy equations, from memory",
        "memory", kind_note="memory (0.9)", note="per hour; the formula is the one-crew limit",
    ),
    # F: Common cause (beta factor)
    Reference(
        "F1", "2-of-3 failed on demand, beta p + 3(1-beta)^2 p^2", "p=1e-3, beta=0.05", "5.3E-05",
        "5.27075e-5",
        "sum by hand: beta p + 3 (1 - beta)^2 p^2", "fact",
    ),
    Reference(
        "F4",
        "IEC 61508-6:2010 Table D.5 multipliers of beta for MooN, (1,2) (1,3) (2,3) (2,4) (3,4)",
        "table", "1, 0.5, 1.5, 0.6, 1.75", "1.0, 0.5, 1.5, 0.6, 1.75",
        "IEC 61508-6:2010, Annex D, table of multipliers, from memory", "memory",
        kind_note="memory (0.9)",
        note="a printed convention: nothing to recompute", exact=True,
    ),
    # G: IEC 61508-6 Annex B: average probability of failure on demand
    Reference(
        "G1", "PFD 1oo1", "lambda_D=0.5e-7/h, DC=0, beta=0, T1=4380 h, MTTR 8 h", "1.1E-04",
        "0.0001099", "IEC 61508-6, Annex B, table for a test every six months, from memory",
        "memory", kind_note="memory (0.8)",
    ),
    Reference(
        "G2", "PFD 1oo1", "lambda_D=0.5e-7/h, DC=0.6, beta=0, T1=4380 h, MTTR 8 h", "4.4E-05",
        "4.42e-5", "IEC 61508-6, Annex B, table for a test every six months, from memory", "memory",
        kind_note="memory (0.8)",
    ),
    Reference(
        "G3", "PFD 1oo1", "lambda_D=0.5e-7/h, DC=0.9, beta=0, T1=4380 h, MTTR 8 h", "1.1E-05",
        "1.135e-5", "IEC 61508-6, Annex B, table for a test every six months, from memory",
        "memory", kind_note="memory (0.8)",
    ),
    Reference(
        "G5", "PFD 1oo2", "lambda_D=0.5e-7/h, DC=0, beta=0.10, T1=4380 h, MTTR 8 h", "1.1E-05",
        "1.10031e-5", "IEC 61508-6, Annex B, table for a test every six months, from memory",
        "memory", kind_note="memory (0.8)",
    ),
    Reference(
        "G6", "PFD 1oo2", "lambda_D=0.5e-7/h, DC=0.6, beta=0.02, T1=4380 h, MTTR 8 h", "8.8E-07",
        "8.84144e-7", "IEC 61508-6, Annex B, table for a test every six months, from memory",
        "memory", kind_note="memory (0.8)",
    ),
    Reference(
        "G9", "PFD 2oo3", "lambda_D=0.5e-7/h, DC=0.6, beta=0.02, T1=4380 h, MTTR 8 h", "8.9E-07",
        "8.89232e-7", "IEC 61508-6, Annex B, table for a test every six months, from memory",
        "memory", kind_note="memory (0.8)",
    ),
    Reference(
        "G10", "PFD 1oo2", "lambda_D=0.5e-6/h, DC=0, beta=0.02, T1=4380 h, MTTR 8 h", "2.4E-05",
        "2.35294e-5", "IEC 61508-6, Annex B, table for a test every six months, from memory",
        "memory", kind_note="memory (0.8)",
    ),
    Reference(
        "G11", "PFD 2oo3", "lambda_D=0.5e-6/h, DC=0, beta=0.02, T1=4380 h, MTTR 8 h", "2.7E-05",
        "2.66283e-5", "IEC 61508-6, Annex B, table for a test every six months, from memory",
        "memory", kind_note="memory (0.8)",
    ),
    Reference(
        "G12", "PFD 1oo2", "lambda_D=2.5e-6/h, DC=0, beta=0.10, T1=4380 h, MTTR 8 h", "5.8E-04",
        "0.00058217", "IEC 61508-6, Annex B, table for a test every six months, from memory",
        "memory", kind_note="memory (0.8)",
    ),
    Reference(
        "G14", "PFD 1oo2", "lambda_D=0.5e-5/h, DC=0, beta=0.02, T1=4380 h, MTTR 8 h", "3.7E-04",
        "0.000374744", "IEC 61508-6, Annex B, table for a test every six months, from memory",
        "memory", kind_note="memory (0.8)",
    ),
    Reference(
        "G16", "PFD 1oo2", "lambda_D=2.5e-5/h, DC=0, beta=0.02, T1=4380 h, MTTR 8 h", "5.0E-03",
        "0.00497261", "IEC 61508-6, Annex B, table for a test every six months, from memory",
        "memory", kind_note="memory (0.8)",
    ),
    Reference(
        "G18", "worked example, sensors: 2oo3", "lambda_D=2.5e-6/h, DC=0.90, beta=0.20, T1=8760 h",
        "2.3E-04", "0.000225174",
        "IEC 61508-6 Annex B, worked example for low demand, from Tables B.2 and B.3, from "
        "memory", "memory", kind_note="memory (0.85)",
    ),
    Reference(
        "G19", "worked example, shut-down valve: 1oo1", "lambda_D=0.5e-5/h, DC=0.60, T1=8760 h",
        "8.8E-03", "0.0088",
        "IEC 61508-6 Annex B, worked example for low demand, from Tables B.2 and B.3, from "
        "memory", "memory", kind_note="memory (0.85)",
    ),
    Reference(
        "G21", "worked example, logic: 1oo2D, common-cause terms only",
        "lambda_D=0.5e-5/h, DC=0.99, beta=0.02, beta_D=0.01, T1=8760 h", "4.8E-06", "4.784e-6",
        "IEC 61508-6 Annex B, worked example for low demand, from Tables B.2 and B.3, from "
        "memory", "memory", kind_note="memory (0.8)",
        note="the independent term adds about 1e-8",
    ),
    Reference(
        "G24", "worked example, whole function, tested every 6 months", "T1=4380 h (SIL 2)",
        "6.7E-03", "0.00674533",
        "IEC 61508-6 Annex B, worked example for low demand, from Tables B.2 and B.3, from "
        "memory", "memory", kind_note="memory (0.85)",
    ),
    Reference(
        "G26", "low-demand SIL bands, lower ends SIL 4..1", "PFD", "1E-05, 1E-04, 1E-03, 1E-02",
        "1.0e-5, 0.0001, 0.001, 0.01",
        "IEC 61508-1, table of the safety integrity levels at low demand, from memory",
        "memory", kind_note="memory (0.95)", note="a printed convention", exact=True,
    ),
    # H: Importance measures and minimal cut sets
    Reference(
        "H11", "pressure tank: share of K2 and of T",
        "cut sets T, K2, S S1, S K1, S R; T=5e-6, K1=K2=S1=3e-5, S=R=1e-4", "0.86, 0.14",
        "0.856751, 0.142792", "NUREG-0492, ch. VIII, from memory", "memory",
        kind_note="memory (0.7)",
    ),
    Reference(
        "H12", "bridge, failure cut sets {1,2},{4,5},{1,3,5},{4,3,2}, q=0.1: Q", "like units",
        "0.02152", "0.02152", "sum by hand: 1 less the bridge of C18 at p = 0.9", "fact",
        exact=True,
    ),
    Reference(
        "H13", "bridge, q=0.1: Birnbaum of a corner and of the bridging unit", "like units",
        "0.1062, 0.0162", "0.1062, 0.0162",
        "own computation in 40 digits; 4*0.1062+0.0162 = dQ/dq = 0.441", "fact", exact=True,
    ),
    # I: Estimating MTBF and MTTR from a log, with confidence limits
    Reference(
        "I1", "90 % two-sided MTBF limits, time-censored",
        "T=800 h, r=2: 2T/chi2(0.95;6), 2T/chi2(0.05;4)", "127.0690, 2251.229",
        "127.0689683, 2251.228611",
        "NIST/SEMATECH e-Handbook of Statistical Methods (April 2012), sec. 8.4.5.1", "found",
    ),
    Reference(
        "I2", "zero failures: factors of T, 60/80/90/95 % two-sided", "-1/ln(alpha/2)",
        "0.6213, 0.4343, 0.3338, 0.2711", "0.6213349, 0.4342945, 0.3338082, 0.271085",
        "NIST/SEMATECH e-Handbook of Statistical Methods, sec. 8.4.5.1, table of MTBF "
        "confidence factors, from memory", "memory",
        kind_note="memory (0.9)",
    ),
    Reference(
        "I3", "1 failure, 60 %: lower, upper factor of MTBF", "2r/chi2", "0.3340, 4.4814",
        "0.3339669, 4.4814201",
        "NIST/SEMATECH e-Handbook of Statistical Methods, sec. 8.4.5.1, table of MTBF "
        "confidence factors, from memory", "memory",
        kind_note="memory (0.9)",
    ),
    Reference(
        "I4", "1 failure, 80 %: lower, upper", "2r/chi2", "0.2571, 9.4912", "0.2570879, 9.4912216",
        "NIST/SEMATECH e-Handbook of Statistical Methods, sec. 8.4.5.1, table of MTBF "
        "confidence factors, from memory", "memory",
        kind_note="memory (0.9)",
    ),
    Reference(
        "I5", "2 failures, 60 %: lower, upper", "2r/chi2", "0.4674, 2.4260",
        "0.4673957, 2.4260412",
        "NIST/SEMATECH e-Handbook of Statistical Methods, sec. 8.4.5.1, table of MTBF "
        "confidence factors, from memory", "memory",
        kind_note="memory (0.9)",
    ),
    Reference(
        "I6", "2 failures, 80 %: lower, upper", "2r/chi2", "0.3758, 3.7607", "0.375776, 3.7607302",
        "NIST/SEMATECH e-Handbook of Statistical Methods, sec. 8.4.5.1, table of MTBF "
        "confidence factors, from memory", "memory",
        kind_note="memory (0.9)",
    ),
    Reference(
        "I7", "5 failures, 80 %: lower, upper", "2r/chi2", "0.5391, 2.0554",
        "0.5391025, 2.0554215",
        "NIST/SEMATECH e-Handbook of Statistical Methods, sec. 8.4.5.1, table of MTBF "
        "confidence factors, from memory", "memory",
        kind_note="memory (0.9)",
    ),
    Reference(
        "I9", "test length factor, r=0, confidence 50/60/75/80/90/95 %", "chi2(c;2r+2)/2",
        "0.693, 0.916, 1.39, 1.61, 2.30, 3.00",
        "0.693147, 0.916291, 1.38629, 1.60944, 2.30259, 2.99573",
        "NIST/SEMATECH e-Handbook of Statistical Methods, sec. 8.3.1.2, test length guide "
        "table, from memory", "memory",
        kind_note="memory (0.9)",
    ),
    Reference(
        "I10", "test length factor, r=1", "chi2(c;2r+2)/2, confidence 50/60/75/80/90/95 %",
        "1.68, 2.02, 2.69, 2.99, 3.89, 4.74",
        "1.67835, 2.02231, 2.69263, 2.99431, 3.88972, 4.74386",
        "NIST/SEMATECH e-Handbook of Statistical Methods, sec. 8.3.1.2, test length guide "
        "table, from memory", "memory",
        kind_note="memory (0.9)",
    ),
    Reference(
        "I12", "exact 95 % limits of a Poisson rate", "15 events, exposure 400",
        "0.0209884653319583, 0.0618505471787146", "0.0209884653319582812, 0.0618505471787146092",
        "Statsmodels (open library), statsmodels/stats/tests/test_rates_poisson.py, commit "
        "843e94d; quotes DescTools and exactci for R",
        "found",
    ),
    Reference(
        "I15", "air-conditioning failure log: mean", "3,5,7,18,43,85,91,98,100,130,230,487 h",
        "108.1", "108.0833",
        "Davison & Hinkley, Bootstrap Methods and their Application (1997), Table 1.2, "
        "quoted in an open bootstrap package", "found",
    ),
    Reference(
        "I16", "same log: exact 95 % limits under the exponential model",
        "3,5,7,18,43,85,91,98,100,130,230,487 h, failure-censored, 2n=24 degrees of freedom",
        "65.9, 209.2", "65.8976, 209.1741",
        "Davison & Hinkley, Bootstrap Methods and their Application (1997), Table 1.2, "
        "quoted in an open bootstrap package", "found",
    ),
    # J: Success-run and exact binomial sizing of a switchover test
    Reference(
        "J1", "tests without failure, n=ceil(ln(1-C)/ln R)", "R=0.90, C=0.95", "29", "29.0",
        "sum by hand: ln(1 - C) / ln R, rounded up", "fact", exact=True,
    ),
    Reference(
        "J2", "tests without failure, n=ceil(ln(1-C)/ln R)", "R=0.95, C=0.95", "59", "59.0",
        "sum by hand: ln(1 - C) / ln R, rounded up", "fact", exact=True,
    ),
    Reference(
        "J3", "tests without failure, n=ceil(ln(1-C)/ln R)", "R=0.99, C=0.90", "230", "230.0",
        "sum by hand: ln(1 - C) / ln R, rounded up", "fact", exact=True,
    ),
    Reference(
        "J4", "tests with one failure allowed", "R=0.90, C=0.95", "46", "46.0",
        "sum by hand: smallest n with R^n + n (1 - R) R^(n-1) <= 1 - C", "fact", exact=True,
    ),
    Reference(
        "J7", "tests without failure", "R=0.90, C=0.90", "22", "22.0",
        "sum by hand: ln(1 - C) / ln R, rounded up", "fact", exact=True,
    ),
    Reference(
        "J8", "tests without failure", "R=0.95, C=0.90", "45", "45.0",
        "sum by hand: ln(1 - C) / ln R, rounded up", "fact", exact=True,
    ),
    Reference(
        "J9", "tests without failure", "R=0.99, C=0.95", "299", "299.0",
        "sum by hand: ln(1 - C) / ln R, rounded up", "fact", exact=True,
    ),
    Reference(
        "J10", "tests without failure", "R=0.99, C=0.99", "459", "459.0",
        "sum by hand: ln(1 - C) / ln R, rounded up", "fact", exact=True,
    ),
    Reference(
        "J12", "tests without failure", "R=0.95, C=0.99", "90", "90.0",
        "sum by hand: ln(1 - C) / ln R, rounded up", "fact", exact=True,
    ),
    Reference(
        "J15", "lower 90 % limit after 30 successes", "30 successes without failure: 0.1^(1/30)",
        "0.926", "0.926119", "sum by hand: 0.1^(1/30)",
        "fact",
    ),
    Reference(
        "J22", "90 % limits of a proportion", "4 of 20", "0.071354, 0.401029",
        "0.071353884, 0.401028117",
        "NIST/SEMATECH e-Handbook of Statistical Methods, sec. 7.2.4.2, from memory", "memory",
        kind_note="inputs found, outputs memory (0.9)", note="last digit +-1", units_off=1.0,
    ),
    # K: Bayesian fault diagnosis
    Reference(
        "K1", "P(condition given positive)", "prior 0.5 %, 99 % sensitive, 99 % specific", "0.332",
        "0.332215",
        "sum by hand: Bayes' rule", "fact",
    ),
    Reference(
        "K3", "same with 99.5 % specificity", "prior 0.5 %, 99 % sensitive, 99.5 % specific",
        "0.499", "0.498741",
        "sum by hand: Bayes' rule", "fact",
        note="exact 0.49874: 'about 49.9 %'",
    ),
    Reference(
        "K4", "P(machine C given defective)", "20/30/50 % of output, 5/3/1 % defective", "5/24",
        "0.208333333333333", "sum by hand: Bayes' rule", "fact",
    ),
    Reference(
        "K5", "P(condition given positive)", "prior 1 %, detection 97 %, false alarm 5 %", "0.16",
        "0.163851", "J. K. Kruschke, Doing Bayesian Data Analysis (blog), December 2015, from memory",
        "memory", kind_note="memory (0.7)",
    ),
    Reference(
        "K6", "three faults, two tests ++: posterior d1,d2,d3",
        "counts 3215/2125/4660; ++ 2110/396/510", "0.700, 0.131, 0.169",
        "0.699602, 0.1313, 0.169098",
        "Grinstead & Snell, Introduction to Probability, sec. 4.1, Bayes example, from memory",
        "memory",
        kind_note="memory (0.85)",
    ),
    # L: Latent faults and the best proof-test interval
    Reference(
        "L1", "best interval sqrt(2 tau/lambda)", "lambda=1e-5/h, tau=2 h", "632.455532",
        "632.455532034", "sum by hand: sqrt(2 tau / lambda) and sqrt(2 lambda tau)", "fact",
        note="hours",
    ),
    Reference(
        "L2", "unavailability there", "lambda=1e-5/h, tau=2 h", "0.00632455532",
        "0.00632455532034", "sum by hand: sqrt(2 tau / lambda) and sqrt(2 lambda tau)", "fact",
    ),
    Reference(
        "L3", "exact average unavailability between tests", "lambda=1e-5/h, T=8760 h",
        "0.0425485656", "0.0425485655782", "sum by hand: 1 - (1 - exp(-lambda T)) / (lambda T)",
        "fact", note="lambda T/2 gives 0.0438",
    ),
    Reference(
        "L4", "best interval with the exact average",
        "lambda=1e-5/h, tau=2 h, minimise 1-(1-e^(-lambda T))/(lambda T)+tau/T", "633.79",
        "633.79274", "own computation in 40 digits", "fact", note="hours",
    ),
    # M: Stationary vectors and ill-conditioned chains (elimination without subtraction)
    Reference(
        "M1", "Courtois matrix, stationary vector", "8x8, COURTOIS below",
        "0.08928, 0.09276, 0.04049, 0.15853, 0.11894, 0.12039, 0.27780, 0.10182",
        "0.08928265, 0.09275764, 0.04048831, 0.15853319, 0.11893821, 0.12038548, "
        "0.27779525, 0.10181927",
        "Data set of PyKDA after Stewart, Introduction to the Numerical Solution of "
        "Markov Chains (1994), from memory", "memory",
        kind_note="matrix found, vector memory (0.9)",
    ),
    Reference(
        "M2", "Courtois matrix, eigenvalues", "8x8, COURTOIS below",
        "1.0000, 0.9998, 0.9985, 0.7500, 0.5501, 0.4000, 0.3007, -0.1495",
        "1.0, 0.9998, 0.9984948, 0.7500262, 0.5500666, 0.4000334, 0.3007143, -0.1495354",
        "Stewart, Introduction to the Numerical Solution of Markov Chains (1994), from memory",
        "memory", kind_note="matrix found, values memory (0.85)",
    ),
    Reference(
        "M3", "Courtois matrix, stationary vector to 13 figures", "8x8, COURTOIS below",
        "0.0892826527545, 0.0927576375051, 0.0404883120164, 0.158533190820, "
        "0.118938206904, 0.120385481106, 0.277795252449, 0.101819266445",
        "0.0892826527545019, 0.0927576375051332, 0.0404883120163639, 0.158533190819826, "
        "0.118938206904175, 0.120385481106053, 0.277795252449273, 0.101819266444674",
        "own computation in 40 digits", "fact",
    ),
    Reference(
        "M4", "Land of Oz: stationary vector", "P=[[.5,.25,.25],[.5,0,.5],[.25,.25,.5]]",
        "0.4, 0.2, 0.4", "0.4, 0.2, 0.4",
        "Kemeny and Snell, Finite Markov Chains (1976), p. 76, Land of Oz, as test data of "
        "PyKDA (open library)",
        "found", exact=True,
    ),
    Reference(
        "M5", "Land of Oz: fundamental matrix, rows 1 and 2",
        "P=[[.5,.25,.25],[.5,0,.5],[.25,.25,.5]]", "86/75, 3/75, -14/75, 6/75, 63/75, 6/75",
        "1.14666666666667, 0.04, -0.186666666666667, 0.08, 0.84, 0.08",
        "Kemeny and Snell, Finite Markov Chains (1976), p. 76, Land of Oz, as test data of "
        "PyKDA (open library)",
        "found", exact=True,
    ),
    Reference(
        "M6", "Land of Oz: mean first passage times, rows 1 and 2",
        "P=[[.5,.25,.25],[.5,0,.5],[.25,.25,.5]]", "5/2, 4, 10/3, 8/3, 5, 8/3",
        "2.5, 4.0, 3.33333333333333, 2.66666666666667, 5.0, 2.66666666666667",
        "Kemeny and Snell, Finite Markov Chains (1976), p. 76, Land of Oz, as test data of "
        "PyKDA (open library)",
        "found", exact=True,
    ),
    Reference(
        "M10",
        "population chain N=3, p=1/3, mutation 1e-14: worst relative error of elimination"
        " without subtraction in double precision",
        "population_chain(3, 1/3, 1e-14) below: 4 states, rates from 5e-15 to 1", "0E-14", "",
        "own computation in 40 digits; chain of QuantEcon.py (open library), "
        "quantecon/markov/tests/test_gth_solve.py, commit 1acad6d", "fact",
        note="must be zero to 14 decimals",
    ),
    # N: Matrix exponential test matrices
    Reference(
        "N3", "expm, strictly upper triangular", "superdiagonal 6,6,6",
        "1, 6, 18, 36, 0, 1, 6, 18, 0, 0, 1, 6, 0, 0, 0, 1",
        "1.0, 6.0, 18.0, 36.0, 0.0, 1.0, 6.0, 18.0, 0.0, 0.0, 1.0, 6.0, 0.0, 0.0, 0.0, 1.0",
        "SciPy 1.17.1 (open library), scipy/sparse/linalg/tests/test_matfuncs.py, test_burkardt_5",
        "found", exact=True,
    ),
    Reference(
        "N4", "expm, defective", "[[1,1],[0,1]]",
        "2.718281828459045, 2.718281828459045, 0, 2.718281828459045",
        "2.718281828459045235, 2.718281828459045235, 0.0, 2.718281828459045235",
        "SciPy 1.17.1 (open library), scipy/sparse/linalg/tests/test_matfuncs.py, test_burkardt_6",
        "found",
    ),
    Reference(
        "N6", "expm, Ward example 1", "[[4,2,0],[1,4,1],[1,1,4]]",
        "147.8666224463699, 183.7651386463682, 71.79703239999647, 127.7810855231823, "
        "183.7651386463682, 91.88256932318415, 127.7810855231824, 163.6796017231806, "
        "111.9681062463718",
        "147.8666224463701527, 183.7651386463684251, 71.79703239999654481, "
        "127.781085523182485, 183.7651386463684251, 91.88256932318421255, "
        "127.781085523182485, 163.6796017231807574, 111.9681062463718803",
        "SciPy 1.17.1 (open library), scipy/sparse/linalg/tests/test_matfuncs.py, test_burkardt_10",
        "found",
        note="published digits are double-precision output", figures=14,
    ),
    Reference(
        "N9", "expm, Moler's badly scaled matrix, row 1",
        "[[0,1e-8,0],[-(2e10+4e8/6),-3,2e10],[200/3,0,-200/3]]",
        "0.446849468283175, 1.54044157383952E-09, 0.462811453558774",
        "0.446849468283174768, 1.54044157383952236e-9, 0.462811453558774311",
        "SciPy 1.17.1 (open library), scipy/sparse/linalg/tests/test_matfuncs.py, test_burkardt_14",
        "found",
    ),
)}

TRAPS = {row.id: row for row in (
    Trap(
        "T1",
        "unavailability of a hot pair: (lambda/mu)^2 against exact two crews, "
        "lambda=0.0001, mu=0.25", "1.6e-7", "1.598721e-7", "0.08",
    ),
    Trap(
        "T2", "same, 2(lambda/mu)^2 against exact one crew, lambda=0.0001, mu=0.25", "3.2e-7",
        "3.197441e-7", "0.08",
    ),
    Trap(
        "T3",
        "MTTF of a hot pair: mu/(2 lambda^2) against (3 lambda+mu)/(2 lambda^2), "
        "lambda=0.0001, mu=0.25", "1.25e+7", "1.2515e+7", "-0.12",
    ),
    Trap(
        "T4",
        "unavailability of a hot pair: (lambda/mu)^2 against exact two crews, "
        "lambda=0.001, mu=0.25", "1.6e-5", "1.587276e-5", "0.802",
    ),
    Trap(
        "T5", "same, 2(lambda/mu)^2 against exact one crew, lambda=0.001, mu=0.25", "3.2e-5",
        "3.174502e-5", "0.803",
    ),
    Trap(
        "T6",
        "MTTF of a hot pair: mu/(2 lambda^2) against (3 lambda+mu)/(2 lambda^2), "
        "lambda=0.001, mu=0.25", "125000.0", "126500.0", "-1.19",
    ),
    Trap(
        "T7",
        "unavailability of a hot pair: (lambda/mu)^2 against exact two crews, lambda=0.01, mu=0.2",
        "0.0025", "0.002267574", "10.2",
    ),
    Trap(
        "T8", "same, 2(lambda/mu)^2 against exact one crew, lambda=0.01, mu=0.2", "0.005",
        "0.004524887", "10.5",
    ),
    Trap(
        "T9",
        "MTTF of a hot pair: mu/(2 lambda^2) against (3 lambda+mu)/(2 lambda^2), "
        "lambda=0.01, mu=0.2", "1000.0", "1150.0", "-13",
    ),
    Trap(
        "T10",
        "hot pair, one crew: mean time between system failures in steady state 1/(mu U) "
        "against MTTF of a new pair, lambda=1e-3, mu=0.25", "126004.0", "126500.0", "-0.392",
    ),
    Trap(
        "T11", "one latent fault: lambda T/2 against 1-(1-e^-x)/x, lambda T=0.01", "0.005",
        "0.004983375", "0.334",
    ),
    Trap(
        "T12",
        "latent pair: (lambda T)^2/3 against exact average of (1-e^-lambda t)^2, lambda T=0.01",
        "3.333333e-5", "3.30845e-5", "0.752",
    ),
    Trap(
        "T13", "one latent fault: lambda T/2 against 1-(1-e^-x)/x, lambda T=0.0876", "0.0438",
        "0.04254857", "2.94",
    ),
    Trap(
        "T14",
        "latent pair: (lambda T)^2/3 against exact average of (1-e^-lambda t)^2, lambda T=0.0876",
        "0.00255792", "0.002396525", "6.73",
    ),
    Trap(
        "T15", "one latent fault: lambda T/2 against 1-(1-e^-x)/x, lambda T=0.5", "0.25",
        "0.2130613", "17.3",
    ),
    Trap(
        "T16",
        "latent pair: (lambda T)^2/3 against exact average of (1-e^-lambda t)^2, lambda T=0.5",
        "0.08333333", "0.0582432", "43.1",
    ),
    Trap(
        "T17",
        "latent pair: product of averages (lambda T/2)^2 against (lambda T)^2/3 (the two "
        "do not agree even in the limit)", "2.5e-5", "3.333333e-5", "-25",
    ),
    Trap(
        "T18",
        "IEC 1oo2, DC=0, beta=0, T1=8760 h: standard formula against exact average of "
        "(1-e^-lambda t)^2, lambda_D=0.5e-6", "6.3948e-6", "6.373836e-6", "0.329",
    ),
    Trap(
        "T19",
        "IEC 1oo2, DC=0, beta=0, T1=8760 h: standard formula against exact average of "
        "(1-e^-lambda t)^2, lambda_D=0.5e-5", "0.00063948", "0.0006188958", "3.33",
    ),
    Trap(
        "T20",
        "IEC 1oo2, DC=0, beta=0, T1=8760 h: standard formula against exact average of "
        "(1-e^-lambda t)^2, lambda_D=2.5e-5", "0.015987", "0.01360979", "17.5",
    ),
    Trap(
        "T21",
        "4 units in series: product of single availabilities against one-crew chain, "
        "lambda/mu=0.01", "0.9609803", "0.9604079", "0.0596",
    ),
    Trap(
        "T22", "4 units in series: shut-down formula 1/(1+4r) against independent product, r=0.01",
        "0.9615385", "0.9609803", "0.0581",
    ),
    Trap(
        "T23",
        "Billinton & Allan overlapping-outage rate against exact two-unit chain "
        "(frequency of both down, per year)", "5.136986e-6", "5.136107e-6", "0.0171",
    ),
    Trap(
        "T24", "3-of-5 effective rate formula against exact chain with one crew", "5.74992e-9",
        "5.719603e-9", "0.53",
    ),
    Trap(
        "T25", "3-of-5 effective rate formula against exact chain with a crew each", "5.74992e-9",
        "2.86265e-9", "101",
    ),
    Trap(
        "T29", "rule of three 3/n against exact 95 % upper limit, n=59", "0.05084746",
        "0.04950761", "2.71",
    ),
    Trap(
        "T30",
        "MTBF lower limit, 90 % one-sided, r=2: 2r degrees of freedom against 2r+2 (time-"
        "censored), T=800 h", "205.6703", "150.3104", "36.8",
    ),
    Trap(
        "T31", "bridge, q=0.1: rare-event sum of cut sets against exact", "0.022", "0.02152",
        "2.23",
    ),
    Trap(
        "T32", "bridge, q=0.1: min-cut upper bound 1-prod(1-Q_j) against exact", "0.02185922",
        "0.02152", "1.58",
    ),
    Trap(
        "T33", "2-of-4, p=0.5: rare-event sum of six cut sets against exact", "1.5", "0.6875",
        "118",
    ),
    Trap(
        "T34", "mirrored disks MTTF^2/(2 MTTR) against exact pair, 6e6 h and 120 h", "1.5e+11",
        "1.50009e+11", "-0.006",
    ),
    Trap(
        "T35",
        "coverage 0.99 ignored: MTTF of a hot pair, lambda=1e-4/h, mu=0.25/h, against "
        "exact with c=0.99", "1.2515e+7", "481342.3", "2.5e03",
    ),
    Trap(
        "T36", "hidden failures of one element ignored: lambda=1e-3/h, mu=0.25/h", "126500.0",
        "1996.032", "6.24e03",
    ),
)}

DIGITS_KEPT = (
    DigitsKept(
        "hot pair, one crew, lambda=1e-4, mu=0.25: P(both down)", "3.19744e-7", 1.2e-16, 2.8e-13,
        5.4e-11,
    ),
    DigitsKept(
        "hot pair, one crew, lambda=1e-6, mu=0.25: P(both down)", "3.19997e-11", 5.9e-17, 3.2e-11,
        2.4e-7,
    ),
    DigitsKept(
        "hot pair, one crew, lambda=1e-9, mu=0.25: P(both down)", "3.2e-17", 1.4e-17, 5.8e-8, 1.0,
    ),
    DigitsKept(
        "Courtois matrix, worst state", "0.0404883", 1.6e-16, 9.3e-14, None,
    ),
    DigitsKept(
        "population chain N=3, mutation 1e-14, worst state", "7.5e-29", 1.6e-17, 0.0032, None,
    ),
    DigitsKept(
        "population chain N=27, mutation 1e-2, worst state", "1.70902e-35", 5.0e-16, 4.2e13, None,
    ),
)

# P: indicator colours and flashing rates of IEC 60073: safety of persons, process, equipment.
FACTS = {row.id: row for row in (
    Fact(
        "P1", "RED", ("danger", "emergency", "faulty",),
        "IEC 60073:2002, by extracts of it, from memory", "memory", kind_note="memory (0.9)",
    ),
    Fact(
        "P2", "YELLOW", ("warning / caution", "abnormal", "abnormal",),
        "IEC 60073:2002, by extracts of it, from memory", "memory", kind_note="memory (0.9)",
    ),
    Fact(
        "P3", "GREEN", ("safe", "normal", "normal",),
        "IEC 60073:2002, by extracts of it, from memory", "memory", kind_note="memory (0.9)",
    ),
    Fact(
        "P4", "BLUE", ("mandatory significance",),
        "IEC 60073:2002, by extracts of it, from memory", "memory", kind_note="memory (0.9)",
    ),
    Fact(
        "P5", "WHITE, GREY, BLACK", ("no specific meaning assigned",),
        "IEC 60073:2002, by extracts of it, from memory", "memory", kind_note="memory (0.9)",
    ),
    Fact(
        "P6", "flashing, normal", ("1.4 Hz to 2.8 Hz",), "IEC 60073:2002, from memory",
        "memory", kind_note="memory (0.9)",
    ),
    Fact(
        "P7", "flashing, slow", ("0.4 Hz to 0.8 Hz",), "IEC 60073:2002, from memory", "memory",
        kind_note="memory (0.8)",
    ),
    Fact(
        "P8", "order of criteria when assigning a colour",
        ("first safety of persons or environment, then process condition, then equipment state",),
        "IEC 60073:2002, by extracts of it, from memory", "memory", kind_note="memory (0.9)",
    ),
)}


def reference(row_id: str) -> Reference:
    """Return the row with this id."""
    return REFERENCES[row_id]


def trap(trap_id: str) -> Trap:
    """Return the trap with this id."""
    return TRAPS[trap_id]


def _numerals(text):
    return [numeral.strip() for numeral in text.split(",")]


def _number(numeral):
    return float(Fraction(numeral)) if "/" in numeral else float(numeral)


def values(row_id: str) -> tuple[float, ...]:
    """Return the published numbers of a row."""
    return tuple(_number(numeral) for numeral in _numerals(REFERENCES[row_id].printed))


def value(row_id: str) -> float:
    """Return the published number of a row that has only one."""
    (only,) = values(row_id)
    return only


def exact_values(row_id: str) -> tuple[float, ...]:
    """Return the numbers of a row as recomputed in 40 digits, as far as they are written down."""
    return tuple(_number(numeral) for numeral in _numerals(REFERENCES[row_id].recomputed))


def exact_value(row_id: str) -> float:
    """Return the recomputed number of a row that has only one."""
    (only,) = exact_values(row_id)
    return only


def _tolerance(numeral, units_off, exact, figures):
    if "/" in numeral or exact:
        return 1e-12 * abs(_number(numeral)) or 1e-15
    number = Decimal(numeral)
    if number == 0 and "." not in numeral and "E" not in numeral:
        return 1e-15
    place = number.as_tuple().exponent
    if figures is not None:
        place = number.adjusted() - figures + 1
    return max(units_off * 10.0**place, FLOOR * abs(float(number)))


def _assert_numerals(row_id, text, computed, units_off, exact, figures):
    numerals = _numerals(text)
    flat = np.asarray(computed, dtype=float).ravel()
    assert flat.size == len(numerals), (
        f"{row_id}: {len(numerals)} values expected, {flat.size} computed"
    )
    for numeral, number in zip(numerals, flat, strict=True):
        # the edge of half a unit may itself be hit, and is not a double
        tolerance = _tolerance(numeral, units_off, exact, figures) * (1 + 1e-9)
        assert abs(number - _number(numeral)) <= tolerance, (
            f"{row_id}: {numeral} expected, {float(number)!r} computed"
        )


def agrees(row_id: str, computed: object) -> None:
    """Assert that `computed` (a number or an array) agrees to the printed digits."""
    row = REFERENCES[row_id]
    _assert_numerals(row_id, row.printed, computed, row.units_off, row.exact, row.figures)


def agrees_closely(row_id: str, computed: object) -> None:
    """Assert that `computed` agrees to all digits of the computation in 40 digits."""
    row = REFERENCES[row_id]
    assert row.recomputed, f"{row_id} has no recomputed value"
    _assert_numerals(row_id, row.recomputed, computed, 1.0, row.exact, None)


def off_by(trap_id: str, approximate: float, exact: float) -> None:
    """Assert both sides of a trap to their printed digits, and the percentage between them."""
    row = TRAPS[trap_id]
    _assert_numerals(trap_id, row.approximate, approximate, 1.0, False, None)
    _assert_numerals(trap_id, row.exact, exact, 1.0, False, None)
    percent = 100 * (approximate / exact - 1)
    _assert_numerals(trap_id, row.percent_off, percent, 1.0, False, None)


# Courtois's nearly completely decomposable matrix (rows M1 to M3), as given by Stewart,
# Introduction to the Numerical Solution of Markov Chains (1994).
COURTOIS = (
    (0.85, 0.0, 0.149, 0.0009, 0.0, 0.00005, 0.0, 0.00005),
    (0.1, 0.65, 0.249, 0.0, 0.0009, 0.00005, 0.0, 0.00005),
    (0.1, 0.8, 0.0996, 0.0003, 0.0, 0.0, 0.0001, 0.0),
    (0.0, 0.0004, 0.0, 0.7, 0.2995, 0.0, 0.0001, 0.0),
    (0.0005, 0.0, 0.0004, 0.399, 0.6, 0.0001, 0.0, 0.0),
    (0.0, 0.00005, 0.0, 0.0, 0.00005, 0.6, 0.2499, 0.15),
    (0.00003, 0.0, 0.00003, 0.00004, 0.0, 0.1, 0.8, 0.0999),
    (0.0, 0.00005, 0.0, 0.0, 0.00005, 0.1999, 0.25, 0.55),
)


def population_chain(size: int, threshold: float, mutation: float) -> np.ndarray:
    """Return the transition matrix of a population playing one of two actions (row M10).

    One of `size` players moves at a time and takes the better answer to the others (the first
    action when their share playing it is above `threshold`), or with probability `mutation`
    either action at random. Kandori, Mailath and Rob, Econometrica 61 (1993), in the sequential
    form used as a test of elimination without subtraction by QuantEcon.py. Each diagonal entry
    is the remainder of its row.
    """

    def prefers(share):
        return 0.5 if share == threshold else float(share > threshold)

    matrix = np.zeros((size + 1, size + 1))
    matrix[0, 1] = matrix[size, size - 1] = mutation / 2
    for n in range(1, size):
        down = mutation / 2 + (1 - mutation) * (1 - prefers((n - 1) / (size - 1)))
        up = mutation / 2 + (1 - mutation) * prefers(n / (size - 1))
        matrix[n, n - 1] = n / size * down
        matrix[n, n + 1] = (size - n) / size * up
    matrix[np.diag_indices_from(matrix)] = 1 - matrix.sum(axis=1)
    return matrix
