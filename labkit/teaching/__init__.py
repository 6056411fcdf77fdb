"""What an instructor takes into the room: run sheets, keys, reading copies, handouts, slides.

All of it comes from the lessons as they are stored and from the items that they name, so that it
cannot say something else than the lesson does.
"""

from labkit.teaching.copies import handout, reading_copy
from labkit.teaching.key import Answer, answer_key
from labkit.teaching.lessonfile import LessonFile, Section, lesson_files, read_lesson
from labkit.teaching.runsheet import run_sheet, teacher_notes
from labkit.teaching.slides import slides
from labkit.teaching.kit import write_copies, write_key

__all__ = [
    "Answer",
    "LessonFile",
    "Section",
    "answer_key",
    "handout",
    "lesson_files",
    "read_lesson",
    "reading_copy",
    "run_sheet",
    "slides",
    "teacher_notes",
    "write_copies",
    "write_key",
]
