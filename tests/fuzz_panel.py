"""Press at random on the main panel in a real browser: `python -m tests.fuzz_panel`.

    --events N    so many pointer and key events (default 2000, as in the test suite)
    --seed N      another seed presses other things (default 1)
    --switches N  so many switches after that (default 1000)

Every 50 events the page is compared with the engine: roles, outputs of the racks, faults. No event
may bring an error or lose the focus, and no key may reach the notebook around the panel. Then 1000
faults are switched and the cell runs 40 times: kernel and page must hold as much as before.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import tempfile
from ast import literal_eval
from collections.abc import Callable
from pathlib import Path

import nbformat
from nbformat.v4 import new_code_cell, new_notebook

from tests.notebooks import KERNEL

__all__ = ["CELLS", "fuzz", "run_again"]

CELLS = (
    "from lessons import plant_panel\n\npanel = plant_panel(step_s=1.0)\npanel",
    "import gc, json\nfrom pathlib import Path\nfrom comm import get_comm_manager\nfrom ipywidgets.widgets.widget import _instances\n\n"
    "def held():\n    snapshot = panel.rig.snapshot()\n"
    "    return json.dumps({'roles': {u: r.value.upper() for u, r in snapshot.roles.items()},\n"
    "        'outputs': {k: o.value for k, o in snapshot.outputs.items()},\n"
    "        'fight': sorted(snapshot.writes_fight), 'faults': sorted(\n"
    "            {part for fault in map(panel.rig.known_faults.get, panel.rig.faults)\n"
    "             for part in fault.breaks or {fault.unit}}),\n"
    "        'problem': repr(panel.problem)})\n\n"
    "def weight():\n    gc.collect()\n"
    "    return json.dumps({'widgets': len(_instances), 'comms': len(get_comm_manager().comms),\n"
    "        'kernel MB': int(Path('/proc/self/statm').read_text().split()[1]) / 256})",
)
KEYS = ("Enter", "Space", "Escape", "Tab", "Shift+Tab", "ArrowUp", "ArrowDown", "ArrowLeft",
        "ArrowRight", "Home", "End", "a", "b", "d", "d", "x", "m", "y", "z", "1", "Delete",
        "Shift+ArrowLeft", "PageDown")
PLACES = (("[data-part]", ".lk-pop input", ".lk-rig button", ".lk-rig select", "[data-slow]",
           "[data-find]"), (30, 30, 25, 5, 5, 5))
WORDS = ("", "kf1", "cut", "zebra", "wf9 n")
# What opens a window of its own, or asks for a name first, is pressed elsewhere.
SPARED = ("Save as story", "Save record as CSV", "Full screen")
EVERY = 50

# What the kernel says of itself, once it has answered all that the page has asked before; what comes
# from a panel may be answered beside what a cell asks, and later.
ASK = """async (expression) => {
    const {kernel} = window.jupyterapp.shell.currentWidget.sessionContext.session;
    while (kernel.asked.size) await new Promise(done => setTimeout(done, 10));
    const reply = await kernel.requestExecute(
        {code: '', silent: true, user_expressions: {it: expression}}).done;
    await new Promise(requestAnimationFrame);
    return reply.content.user_expressions.it.data['text/plain'];
}"""

SHOWN = """() => {
    const root = document.querySelector('.lk-rig'), text = name =>
        root.querySelector(`[data-s="${name}"]`)?.textContent;
    const parts = [...root.querySelectorAll('[data-part]')];
    return {
        roles: Object.fromEntries(parts.map(p => [p.dataset.part, text(`${p.dataset.part}.role`)])
            .filter(pair => pair[1])),
        outputs: Object.fromEntries(parts.map(p => [p.dataset.part, text(`${p.dataset.part}.out.t`)])
            .filter(pair => pair[1])),
        faults: parts.filter(p => p.matches('.bad, .mild')).map(p => p.dataset.part).sort(),
        past: root.classList.contains('lk-past'),
        wrong: text('wrong'),
        cells: window.jupyterapp.shell.currentWidget.content.widgets.map(
            cell => cell.model.sharedModel.getSource()),
    };
}"""

# The Tab key may leave the panel; what is pressed outside is not ours.
STAY = """() => {
    window.staying = new AbortController();
    document.addEventListener('focusin', ({target}) => {
        const rig = document.querySelector('.lk-rig');
        if (rig && !rig.contains(target)) rig.querySelector('[data-part]').focus();
    }, {signal: window.staying.signal});
}"""

PRESS = """([acts, spared]) => acts.map(([selector, share, word]) => {
    const found = [...document.querySelectorAll(selector)].filter(node =>
        node.getClientRects().length && !node.disabled
        && !spared.includes(node.textContent.trim()));
    if (!found.length) return `no ${selector}`;
    const node = found[Math.floor(share * found.length)];
    if (node.tagName === 'SELECT') {
        node.selectedIndex = Math.floor(share * node.options.length);
        node.dispatchEvent(new Event('change', {bubbles: true}));
    } else if (node.type === 'range' || node.type === 'text') {
        node.focus();
        node.value = node.type === 'text' ? word : share * node.max;
        node.dispatchEvent(new Event('input', {bubbles: true}));
    } else if (node.click) { node.focus(); node.click(); }
    else node.dispatchEvent(new MouseEvent('click', {bubbles: true}));
    return `${selector} ${node.dataset.part ?? node.dataset.fault ?? node.textContent}`;
})"""


def _press(page, draw: random.Random, count: int) -> list[str]:
    """Do so many things at random, in bursts of keys and of the pointer; return what they were."""
    done: list[str] = []
    while len(done) < count:
        burst = min(draw.randint(1, 9), count - len(done))
        if draw.random() < 0.4:
            for key in draw.choices(KEYS, k=burst):
                page.keyboard.press(key)
                done.append(f"key {key}")
        else:
            # One call for the burst: the page has no pause within it, and answers come after it.
            done += page.evaluate(PRESS, [[
                (selector, draw.random(), draw.choice(WORDS))
                for selector in draw.choices(*PLACES, k=burst)], SPARED])
    return done


def asked(notebook, expression: str) -> dict[str, object]:
    """Return what the kernel says, once page and kernel are done with what was pressed."""
    return json.loads(literal_eval(notebook.page.evaluate(ASK, expression)))


def _differs(notebook) -> list[object]:
    """Hold the panel still and return in what the page differs from the engine."""
    page = notebook.page
    asked(notebook, "held()")
    found = ["the focus is nowhere"] * page.evaluate("document.activeElement === document.body")
    # What the running clock has asked is answered first: the button says Play until then.
    for press in ("Pause", "Now"):
        asked(notebook, "held()")
        page.evaluate("""text => {
            const button = [...document.querySelectorAll('button')].find(
                node => node.textContent === text);
            button?.focus();
            button?.click();
        }""", press)
    held, shown = asked(notebook, "held()"), page.evaluate(SHOWN)
    found += [(shown[what], held[what]) for what in ("roles", "faults")
              if shown[what] != held[what]]
    found += [(rack, outputs, shown["outputs"][rack]) for rack, outputs in held["outputs"].items()
              if shown["outputs"][rack] != "flaps"
              and ("two writers" if rack in held["fight"] else outputs)
              not in shown["outputs"][rack]]
    found += ["a key reached the notebook"] * (shown["cells"] != list(CELLS))
    return found + ["past"] * shown["past"] + [held["problem"]] * (held["problem"] != "None")


def fuzz(notebook, events: int, seed: int) -> int:
    """Press so many times on the panel of a notebook made of `CELLS`; return how many compares.

    Raises
    ------
    AssertionError
        When the page says something else than the engine, an error came, or a key went through.
    """
    draw, compared = random.Random(seed), 0
    notebook.run_cell(1)
    notebook.run_cell(0)
    notebook.page.evaluate(STAY)
    notebook.page.locator(".lk-rig button").first.focus()
    for begun in range(0, events, EVERY):
        tail = _press(notebook.page, draw, min(EVERY, events - begun))
        differs = _differs(notebook)
        assert not differs, (differs, tail)
        assert notebook.errors() == [] and notebook.console == [], (notebook.console, tail)
        compared += 1
    notebook.page.evaluate("() => window.staying.abort()")
    return compared


SWITCH = """async (times) => {
    const wait = (ms) => new Promise(done => setTimeout(done, ms));
    const clock = () => document.querySelector('[data-s="head.time"]').textContent;
    for (let i = 0; i < times; i += 1) {
        const parts = document.querySelectorAll('[data-part]');
        parts[Math.floor(i / 2) % parts.length].dispatchEvent(
            new MouseEvent('click', {bubbles: true}));
        const box = document.querySelector('.lk-pop input'), before = clock();
        if (box) box.click();
        for (let n = 0; box && clock() === before && n < 500; n += 1) await wait(10);
    }
}"""


def kernel_holds(notebook) -> dict[str, float]:
    """Return how many widgets and comms and how many MB the kernel holds."""
    return asked(notebook, "weight()")


def page_holds(notebook) -> dict[str, float]:
    """Return how many nodes, listeners of events and MB the page holds."""
    wire = notebook.page.context.new_cdp_session(notebook.page)
    wire.send("Performance.enable")
    # What is freed by one collection frees more in the next.
    for _ in range(3):
        wire.send("HeapProfiler.collectGarbage")
    found = {each["name"]: each["value"] for each in wire.send("Performance.getMetrics")["metrics"]}
    wire.detach()
    return {"page nodes": found["Nodes"], "page listeners": found["JSEventListeners"],
            "page MB": found["JSHeapUsedSize"] / 2**20}


def came_to_stay(notebook, act: Callable[[], object]) -> dict[str, float]:
    """Return how much more kernel and page hold after an act than before."""
    kernel = kernel_holds(notebook)
    # JupyterLab itself keeps some 500 nodes each time that another cell becomes the active one.
    notebook.page.locator(".jp-Cell .jp-InputPrompt").first.click()
    # The first look leaves something of its own behind.
    page_holds(notebook)
    before = kernel | page_holds(notebook)
    act()
    now = page_holds(notebook) | kernel_holds(notebook)
    return {name: round(now[name] - held, 1) for name, held in before.items()}


def run_again(notebook, times: int) -> dict[str, float]:
    """Run the cell of the panel so many times; return what came to stay."""
    for _ in range(2):
        notebook.run_cell(0)
    return came_to_stay(notebook, lambda: [notebook.run_cell(0) for _ in range(times)])


def switch_often(notebook, times: int) -> dict[str, float]:
    """Switch faults so many times, each on and off again; return what came to stay."""
    notebook.page.evaluate(SWITCH, 40)
    notebook.click("Start again")
    return came_to_stay(notebook, lambda: (notebook.page.evaluate(SWITCH, times),
                                           notebook.click("Start again")))


def main(argv: list[str] | None = None) -> int:
    """Press at random, and say how often the page was compared with the engine."""
    from tests.browser import Workplace

    parser = argparse.ArgumentParser(prog="python -m tests.fuzz_panel", description=main.__doc__)
    parser.add_argument("--events", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--switches", type=int, default=1000)
    arguments = parser.parse_args(argv)
    with tempfile.TemporaryDirectory() as folder:
        nbformat.write(new_notebook(cells=list(map(new_code_cell, CELLS)),
                                    metadata={"kernelspec": KERNEL}), Path(folder) / "fuzz.ipynb")
        with Workplace(folder) as place, place.open("fuzz.ipynb", sidebar=False) as notebook:
            compared = fuzz(notebook, arguments.events, arguments.seed)
            notebook.run_cell(0)
            switched = switch_often(notebook, arguments.switches)
            run = run_again(notebook, 40)
    print(f"{arguments.events} events, compared with the engine {compared} times: no error, "
          "no contradiction, no key that reached the notebook")
    for what, more in ((f"{arguments.switches} switches", switched), ("40 runs of the cell", run)):
        print(f"{what}: " + ", ".join(f"{count:+g} {name}" for name, count in more.items()))
    return 1 if switched["widgets"] or run["widgets"] else 0


if __name__ == "__main__":
    sys.exit(main())
