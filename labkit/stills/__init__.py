"""The pictures of the course, each with its words and numbers: made by command, never by hand.

PNG files are 1600 by 900 points with type of about 18 pt and more; SVG files beside them can be
scaled. The same code gives the same files.
"""

from labkit.stills.choice import left_out, stills
from labkit.stills.still import Still
from labkit.stills.writing import find_browser, write_figures, write_picture

__all__ = ["Still", "find_browser", "left_out", "stills", "write_figures", "write_picture"]
