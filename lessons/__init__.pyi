"""The door of the lessons: what shows, asks, prints and teaches, loaded when it is asked for."""

from .exercises.by_text import check, hint, my_record, observe, paper, rate, skip, task
from .exercises.controls import ask, predict_first, recall, steps
from .exercises.folded import folded
from .exercises.misconceptions import misconception
from .items.lesson_10 import BLIND_SIGNS, SYMPTOMS, finder
from .panels.drawn import drawn
from .panels.drill_panel import drill_panel
from .panels.first_failures_panel import first_failures_panel
from .panels.flaws_panel import flaws_panel
from .panels.hold_panel import hold_panel
from .panels.limits_panel import limits_panel
from .panels.plant_panel import plant_panel
from .panels.proof_test_panel import proof_test_panel
from .panels.time_out_panel import time_out_panel
from .panels.two_states_panel import two_states_panel
from .panels.worth_panel import worth_panel
from .panels.writers_panel import writers_panel
from .papers.papers import make_paper, make_papers, write_papers
from .pictures.block_diagrams import block_diagram, block_diagrams, plain_parts, ways_diagram
from .pictures.bus_picture import bus_picture
from .pictures.pair_pictures import by_hand, pair_chain_picture, three_ways_picture
from .pictures.seen import hall_picture, seen_at
from .pictures.sleepers import plot_sleepers, sleepers, sleepers_words
from .pictures.takeover_pictures import beats_picture, spread_picture
from .pictures.tornado import tornado_picture
from .pictures.two_states_picture import two_states_picture
from .pictures.year_strip import plot_year, year_words

__all__ = [
    "BLIND_SIGNS",
    "SYMPTOMS",
    "ask",
    "beats_picture",
    "block_diagram",
    "block_diagrams",
    "bus_picture",
    "by_hand",
    "check",
    "drawn",
    "drill_panel",
    "finder",
    "first_failures_panel",
    "flaws_panel",
    "folded",
    "hall_picture",
    "hint",
    "hold_panel",
    "limits_panel",
    "make_paper",
    "make_papers",
    "misconception",
    "my_record",
    "observe",
    "pair_chain_picture",
    "paper",
    "plain_parts",
    "plant_panel",
    "plot_sleepers",
    "plot_year",
    "predict_first",
    "proof_test_panel",
    "rate",
    "recall",
    "seen_at",
    "skip",
    "sleepers",
    "sleepers_words",
    "spread_picture",
    "steps",
    "task",
    "three_ways_picture",
    "time_out_panel",
    "tornado_picture",
    "two_states_panel",
    "two_states_picture",
    "ways_diagram",
    "worth_panel",
    "write_papers",
    "writers_panel",
    "year_words",
]
