"""The door of labkit: the models of redundant control, each loaded when it is asked for."""

from .availability.ageing import Ageing
from .availability.blocks import Block
from .availability.common_causes import (
    common_cause,
    common_cause_group,
    shares_of_alpha,
    shares_of_greek,
)
from .availability.parts import Chain, Part, at_least, parallel, series
from .evidence.claims import observation_needed_h, spares_needed, trials_needed
from .evidence.diagnosis import Check, expected_information_bits
from .evidence.example_year import example_year
from .evidence.limits import mtbf_limits, mttr_limits, rate_limits, success_limits
from .evidence.log import read_log, write_log
from .evidence.log_analysis import analyse_log
from .evidence.log_cleaning import clean_log
from .evidence.log_trend import RatePrior, laplace_trend, power_law_trend, rate_prior
from .markov.chain import MarkovModel, two_state
from .markov.demand import pfd_1oo1, pfd_1oo2, pfd_2oo2, pfd_2oo3
from .markov.first_failure import first_failure_chain
from .markov.flaws import Flaws, flaw_rows
from .markov.latent import latent_faults, periodic_lives
from .markov.pair import redundant_pair
from .markov.passage import FirstPassage
from .markov.proof_tests import best_pair_test_interval_h, best_test_interval_h, pair_with_tests
from .markov.staggered_tests import ProofTestedChannels
from .plant.causes import causes_of
from .plant.file import write_starter
from .plant.file_check import check_file
from .plant.plant import Plant, load_plant
from .plant.sensitivity import sensitivity
from .plant.tank_data import TankSettings
from .plant.uncertainty import joint_uncertainty
from .plant.variants import compare_variants, losses, outage_cost, rank_variants
from .plant.worth import event_cost
from .rig.bus import idle_voltage_mv, line_resistance_ohm, line_states
from .rig.effects import effects_of
from .rig.finder import FaultFinder
from .rig.holding import EXTRAS, hold_run, share_dropped
from .rig.rig import Rig
from .rig.tank import Drive, HeaderTank, ride_through_s
from .rig.writers import writers_run, writers_text
from .simulation.histories import chain_history
from .simulation.repair_times import FixedRepair, LognormalRepair
from .simulation.runs import simulate_block, simulate_chain
from .switchover.clocks import Channel
from .switchover.engine import Switchover
from .switchover.fault_kinds import faults_of
from .switchover.lamps import lamps_of
from .switchover.rules import RULES
from .switchover.settings import PairSettings, switchover_budget
from .switchover.time_outs import false_alarms_by_beats, how_often
from .switchover.timing import (
    false_alarms_per_h,
    first_false_alarm_h,
    simulated_false_alarms,
    switchover_sweep,
)
from .switchover.vote_price import vote_price

__all__ = [
    "Ageing",
    "Block",
    "Chain",
    "Channel",
    "Check",
    "Drive",
    "EXTRAS",
    "FaultFinder",
    "FirstPassage",
    "FixedRepair",
    "Flaws",
    "HeaderTank",
    "LognormalRepair",
    "MarkovModel",
    "PairSettings",
    "Part",
    "Plant",
    "ProofTestedChannels",
    "RULES",
    "RatePrior",
    "Rig",
    "Switchover",
    "TankSettings",
    "analyse_log",
    "at_least",
    "best_pair_test_interval_h",
    "best_test_interval_h",
    "causes_of",
    "chain_history",
    "check_file",
    "clean_log",
    "common_cause",
    "common_cause_group",
    "compare_variants",
    "effects_of",
    "event_cost",
    "example_year",
    "expected_information_bits",
    "false_alarms_by_beats",
    "false_alarms_per_h",
    "faults_of",
    "first_failure_chain",
    "first_false_alarm_h",
    "flaw_rows",
    "hold_run",
    "how_often",
    "idle_voltage_mv",
    "joint_uncertainty",
    "lamps_of",
    "laplace_trend",
    "latent_faults",
    "line_resistance_ohm",
    "line_states",
    "load_plant",
    "losses",
    "mtbf_limits",
    "mttr_limits",
    "observation_needed_h",
    "outage_cost",
    "pair_with_tests",
    "parallel",
    "periodic_lives",
    "pfd_1oo1",
    "pfd_1oo2",
    "pfd_2oo2",
    "pfd_2oo3",
    "power_law_trend",
    "rank_variants",
    "rate_limits",
    "rate_prior",
    "read_log",
    "redundant_pair",
    "ride_through_s",
    "sensitivity",
    "series",
    "share_dropped",
    "shares_of_alpha",
    "shares_of_greek",
    "simulate_block",
    "simulate_chain",
    "simulated_false_alarms",
    "spares_needed",
    "success_limits",
    "switchover_budget",
    "switchover_sweep",
    "trials_needed",
    "two_state",
    "vote_price",
    "write_log",
    "write_starter",
    "writers_run",
    "writers_text",
]
