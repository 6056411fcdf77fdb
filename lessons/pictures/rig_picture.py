"""Plant and level in one picture, drawn once: what the panel shows, and the page without Python."""

from collections.abc import Sequence

from labkit.plant.plant import Plant
from labkit.rig.rig import RigView
from lessons.pictures.plant_picture import PlantPicture, plant_alt_text
from lessons.pictures.slots import Values, filled
from lessons.pictures.svg import document
from lessons.pictures.trend import LevelChart, marks_of


class RigPicture:
    """Draw plant and trend in one picture of one width.

    >>> from labkit import Rig, load_plant
    >>> sorted(RigPicture(load_plant(), 940).level(Rig().view()))[:2]
    ['lv.curve@points', 'lv.dot@cx']
    """

    def __init__(self, plant: Plant, width: float):
        self.plant = PlantPicture(plant, width)
        self.layout = self.plant.layout

    def chart(self, view: RigView) -> LevelChart | None:
        """Return the chart of the level, where the plant has a tank."""
        there = self.layout.trend and view.trend is not None and view.tank is not None
        return LevelChart(self.layout.trend, view.tank) if there else None

    def svg(self, view: RigView, values: Values, **how) -> str:
        """Return the picture with its values."""
        chart = self.chart(view)
        template = "".join([self.plant.template(), chart.template() if chart else "",
                            self.plant.opened])
        return document([filled(template, values)], self.layout.width, self.layout.height,
                        plant_alt_text(view.plant, view.snapshot), **how)

    def values(self, view: RigView, *, weak: Sequence[str] = (), still: bool = False) -> Values:
        """Return the values of a state."""
        return self.plant.values(view.snapshot, weak=weak, still=still) | self.level(view)

    def level(self, view: RigView) -> Values:
        """Return the values of the level alone; none where the plant has no tank."""
        chart = self.chart(view)
        return chart.values(view.trend, marks_of(view)) if chart else {}
