"""The rig in one HTML file that needs no Python and no network.

The front end is that of the panel. In place of the kernel a second driver, `rig_file.js`, answers
it from a table of settled states.
"""

from collections.abc import Mapping
from pathlib import Path

from labkit.plant.plant import Plant
from labkit.rig.settled import Act
from labkit.wording import grouped
from lessons.panels.alone import alone_html
from lessons.panels.plant_panel import START
from lessons.panels.rig_page import page_html, record_html
from lessons.panels.rig_table import Sight
from lessons.panels.story_desk import MOST_ROWS, acts_html
from lessons.pictures.slots import filled

HOLE = "@@"

def story_words(labels: Mapping[str, str]) -> dict[Act, tuple[str, str]]:
    """Return by act the word that stands for it in a story of one line, and what it says in full.

    >>> story_words({"KF1: no power": "KF1 controller 1: no power"})["off", "KF1: no power"]
    ('-KF1:no_power', 'off: KF1 controller 1: no power')
    """
    short = {name: name.replace(": ", ":").replace(" ", "_") for name in labels}
    return {
        **{("on", name): (word, f"on: {labels[name]}") for name, word in short.items()},
        **{("off", name): (f"-{word}", f"off: {labels[name]}") for name, word in short.items()},
        ("role change", ""): ("switch_over", "switchover by hand"),
        ("all off", ""): ("all_off", "all faults off"),
    }


def rig_file_html(plant: Plant, table: dict) -> str:
    """Return the file of a plant as one HTML document.

    Parameters
    ----------
    table : dict
        As `lessons.panels.rig_table.rig_table` gives it.
    """
    sight = Sight(plant)
    most = table["most"]
    upto = {0: "no fault", 1: "one fault at a time"}.get(most, f"up to {most} faults at once")
    ways = sum(len(state) - 1 for state in table["states"])
    words = story_words({each["id"]: each["label"] for each in table["faults"]})
    title = f"{plant.name}, {plant.version}"
    about = (
        f"{title} ({plant.data} data). This page holds {upto}: {grouped(len(table['states']))} settled "
        f"states and {grouped(ways)} ways between them, worked out beforehand by the engine of the "
        "workbook. Each act is seen one minute after it. Before it the pair has come to rest, and "
        "the process has stood so for a minute from its set-point. On a noisy cable chance decides "
        "which beats are lost: the page shows one course of it. A battery carries here for as long "
        "as one looks. More faults, the time between two acts, batteries that run down and what "
        "outages cost are in the workbook. The page simulates and gives no "
        "permission: isolate and prove dead, by the rules of the site, before anybody touches a "
        "plant.")
    common = {key: value for key, value in table["healthy"].items() if key[:1].isalpha()}
    page = filled(page_html(
        functions=tuple(sight.view.state.works), cards=("record", "stories", "about"), about=about,
        task=""), {**common, "act": START})
    data = {
        "panel": {"page": page, "look": "lk-file", "widths": [*sight.pictures],
                  "faults_here": table["faults"]},
        "pictures": {f"{width:g}": picture.svg(sight.view, picture.values(sight.view, still=True))
                     for width, picture in sight.pictures.items()},
        "start": START, "upto": upto, "most_rows": MOST_ROWS,
        "acts": [[word, said] for word, said in words.values()],
        "story": acts_html(HOLE, HOLE, HOLE).split(HOLE),
        "record": record_html(HOLE, "Record, latest first; the time counts from the act").split(
            HOLE),
        "example": ";".join([*(word for word, _ in words.values())][:1]),
        "table": {key: table[key] for key in ("healthy", "slots", "words", "sets", "rows",
                                              "states")},
    }
    return alone_html(title, data, Path(__file__).with_suffix(".js"))
