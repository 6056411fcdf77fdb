"""The course: notebooks, and all that shows, asks, prints and teaches.

The names of this door stand in `__init__.pyi`; each is loaded when it is asked for.
"""

import os

import lazy_loader

if os.environ.get("WORKBOOK_LANGUAGE", "en") != "en":
    from lessons.language.edges import install

    install()

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
