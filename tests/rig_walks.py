"""Walk the rig without Python at random in a browser, and compare each state with the engine.

    python -m tests.rig_walks --count 1000

The engine goes the whole walk in one piece, from the healthy plant on: it knows nothing of the
table, so that a state which the table has taken for another one shows. Noise is left out: which
beats it loses is drawn anew each time, and the page says that it shows one course of it.
"""

from __future__ import annotations

import argparse
import html
import re
import sys
import tempfile
import time
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from random import Random

from labkit.plant.plant import Plant, load_plant
from labkit.rig.acts import rows_of
from labkit.rig.rig import Rig
from labkit.rig.settled import Act, act_alone, acts_at, come_to_rest, do
from labkit.switchover.clocks import NOISE
from lessons.panels.rig_file import rig_file_html
from lessons.panels.rig_page import record_row_html
from lessons.panels.rig_table import Sight, rig_table
from lessons.pictures.layout import WIDTHS
from tests.browser import chromium

ACTS = 6
"""How many acts a walk has, where nothing else is said."""

# Do an act as somebody does: at the part, or by the search where no part is drawn for it.
DO = """([verb, fault, label]) => {
  const find = (selector) => document.querySelector(selector);
  if (verb === "role change") find("[data-do=change_roles]").click();
  else if (verb === "all off") find("[data-do=all_off]").click();
  else {
    const box = () => find(`.lk-pop:not([hidden]) input[data-fault="${CSS.escape(fault)}"]`);
    for (const part of document.querySelectorAll("[data-part]")) {
      if (!label.startsWith(part.dataset.part + " ")) continue;
      part.dispatchEvent(new MouseEvent("click", { bubbles: true }));
      break;
    }
    if (!box()) {
      const search = find("[data-find]");
      search.value = label;
      search.dispatchEvent(new Event("input", { bubbles: true }));
    }
    if (box().checked === (verb === "on")) throw Error(`${fault}: ${verb} already`);
    box().click();
  }
}"""
READ = """(keys) => {
  const slots = new Map([...document.querySelectorAll("[data-s]")].map((e) => [e.dataset.s, e]));
  const found = {};
  for (const key of keys) {
    const at = key.lastIndexOf("@"), node = slots.get(at < 0 ? key : key.slice(0, at));
    if (node) found[key] = at < 0 ? node.textContent : node.getAttribute(key.slice(at + 1) || "class");
  }
  const rows = [...document.querySelectorAll(".lk-rec tbody tr")].map((row) => row.textContent);
  return [found, rows];
}"""


@contextmanager
def pages(file: Path, *sizes: tuple[int, int]) -> Iterator[list]:
    """Open a file in windows of some sizes; a page that asks for anything else gets nothing."""
    with chromium() as browser:
        opened = []
        for width, height in sizes:
            page = browser.new_page(viewport={"width": width, "height": height})
            page.problems = []
            page.on("pageerror", lambda problem, page=page: page.problems.append(str(problem)))
            page.on("request", lambda request, page=page: page.problems.append(request.url)
                    if not request.url.startswith(("file:", "blob:", "data:")) else None)
            page.goto(file.as_uri())
            page.wait_for_selector(".lk-rig [data-part]")
            # Two frames later the picture is that for this width.
            page.evaluate("() => new Promise(done => requestAnimationFrame("
                          "() => requestAnimationFrame(done)))")
            opened.append(page)
        yield opened
        for page in opened:
            page.close()


def walk(plant: Plant, rig: Rig, random: Random, page, sight: Sight, width: float,
         most_faults: int, among: Collection[str] = (), acts: int = ACTS) -> list[str]:
    """Do a walk in the page and with a healthy rig at rest; return what differs."""
    page.click("[data-do=start_again]")
    among = [name for name, fault in rig.known_faults.items()
             if fault.mode not in NOISE and (not among or name in among)]
    wrong: list[str] = []
    done: list[Act] = []
    while len(done) < acts and not wrong:
        act = random.choice(acts_at(rig, most_faults, among))
        done.append(act)
        label = rig.known_faults[act[1]].label if act[1] else ""
        before = rig.view()
        do(rig, act)
        alone = act_alone(before, rig.view(), plant)
        page.evaluate(DO, [*act, label])
        expected = sight.healthy | {"act": ""}
        for values in sight.values(*alone):
            expected |= values
        own = f"{width:g} "
        expected = {key.removeprefix(own): value for key, value in expected.items()
                    if not key[0].isdigit() or key.startswith(own)}
        shown, rows = page.evaluate(READ, [*expected])
        unlike = [f"{key}: {shown[key]!r}, not {value!r}" for key, value in expected.items()
                  if key in shown and shown[key] != value]
        missing = len(expected.keys() - shown.keys())
        if missing:
            unlike.append(f"{missing} of {len(expected)} slots are not there")
        said = [html.unescape(re.sub("<[^>]*>", "", record_row_html(row)))
                for row in reversed(rows_of(alone[1].record))]
        if rows[:len(said)] != said:
            unlike.append(f"record: {rows[:2]}, not {said[:2]}")
        wrong += [f"{done}: {each}" for each in unlike]
        come_to_rest(rig)
    return wrong + [f"{done}: {each}" for each in page.problems]


def walks(plant: Plant, table: dict, count: int, seed: int = 1, among: Collection[str] = (),
          acts: int = ACTS, say: Callable[[str], None] = lambda _: None) -> list[str]:
    """Do so many walks, on a wide screen and on a phone in turn; return what differs."""
    sight, wrong, begun = Sight(plant), [], time.monotonic()
    # what outages cost a year is not shown
    start = Rig(replace(plant, costs=()))
    come_to_rest(start)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "rig.html"
        file.write_text(rig_file_html(plant, table), encoding="utf-8")
        with pages(file, (1366, 768), (390, 844)) as opened:
            for number in range(count):
                wide = number % 2 == 0
                wrong += walk(plant, start.copy(), Random(f"{seed} {number}"), opened[not wide],
                              sight, max(WIDTHS) if wide else min(WIDTHS), table["most"], among,
                              acts)
                if number % 50 == 49:
                    say(f"{number + 1} walks, {len(wrong)} differences, "
                        f"{time.monotonic() - begun:.0f} s")
    return wrong


def main() -> int:
    """Walk by the words of the command line; the exit code is 1 where anything differs."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--faults", type=int, default=2)
    parser.add_argument("--plant")
    parser.add_argument("--only", metavar="FAULT", action="append", default=[])
    arguments = parser.parse_args()
    plant = load_plant(arguments.plant) if arguments.plant else load_plant()
    table = rig_table(plant, most_faults=arguments.faults, among=arguments.only, say=print)
    wrong = walks(plant, table, arguments.count, arguments.seed, arguments.only, say=print)
    print(*wrong[:20], sep="\n")
    print(f"{arguments.count} walks of {ACTS} acts: {len(wrong)} differences")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
