"""The course: notebooks, and all that shows, asks, prints and teaches.

The names of this door stand in `__init__.pyi`; each is loaded when it is asked for.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
