"""Controls around the pictures: each panel starts itself from one line in one cell."""

from labkit.panels.frame import Panel
from labkit.panels.plant import PlantPanel, plant_panel

__all__ = ["Panel", "PlantPanel", "plant_panel"]
