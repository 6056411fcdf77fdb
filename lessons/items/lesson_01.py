"""Lesson 01, one controller: how often is it out, and for how long?"""

from labkit.availability.parts import Part
from lessons.exercises.item_file import read_items
from lessons.pictures.first_failures import first_failures_text, lives_h, still_running

LESSON = read_items(__file__, globals())
