"""Controls around the pictures: each panel starts itself from one line in one cell."""

from labkit.panels.compare import ComparePanel, compare_panel
from labkit.panels.frame import Panel
from labkit.panels.plant import PlantPanel, plant_panel

__all__ = ["ComparePanel", "Panel", "PlantPanel", "compare_panel", "plant_panel"]
