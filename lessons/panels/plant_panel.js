// The front end of the rig. It knows no rule of the pair: it draws a page once, sets the slots that
// it is sent, and says what somebody pressed. `model` is a widget, or anything with get, send, on.

// What may be asked for while one looks at the past; everything else is done.
const LOOKING = ["fit", "fold", "unfold", "mark_weak", "write_flashing", "step", "speed", "own"];
const TICK_MS = 250, SLOW_MS = 700, BEFORE_MS = -20, WALL = 1.45, LOW_PX = 850;

function render({ model, el }) {
  const root = document.createElement("div");
  root.className = `lk lk-panel lk-rig ${model.get("look")}`;
  root.innerHTML = model.get("page");
  el.append(root);
  const find = (selector) => root.querySelector(selector);
  const all = (selector) => [...root.querySelectorAll(selector)];
  const pop = find(".lk-pop"), stage = find(".lk-picture"), search = find("[data-find]");
  const widths = model.get("widths"), slider = find("[data-slow]"), faults = model.get("faults_here");
  let slots = new Map(), now = {}, width = 0, on = new Set(), picked = null, opener = null;
  let openRoom = null;
  let playing = false, slow = null, past = null, slowPlay = 0;
  // The number of what was pressed last, and of that which the latest answer belongs to.
  let asked = 0, answered = 0, later = [];

  // ---------------------------------------------------------------- setting slots

  function element(name) {
    let found = slots.get(name);
    if (!found?.isConnected) {
      found = find(`[data-s="${CSS.escape(name)}"]`);
      slots.set(name, found);
    }
    return found;
  }

  function set(values) {
    for (const [key, value] of Object.entries(values)) {
      if (key[0] === "=") { states[key]?.(JSON.parse(value)); continue; }
      const at = key.lastIndexOf("@"), node = element(at < 0 ? key : key.slice(0, at));
      if (!node) continue;
      if (at < 0) node.textContent = value;
      else if (key.endsWith("@html")) node.innerHTML = value;
      else node.setAttribute(key.slice(at + 1) || "class", value);
      if (key.endsWith("@data-state")) nameAloud(node);
    }
  }

  // What a screen reader says of a part: what it is, and how it stands now.
  function nameAloud(part) {
    const { name, state } = part.dataset;
    part.setAttribute("aria-label", state ? `${name}: ${state}` : name);
  }

  // Boxes and the list of acts stand as they were pressed until the last press is answered:
  // an answer to one before it would turn them back under the fingers.
  const settled = () => answered >= asked;

  // What goes back along the record waits for the record of what was pressed before.
  function onceAnswered(act) {
    if (settled()) act();
    else later.push(act);
  }

  const states = {
    "=answered": (number) => {
      // A second view of the panel counts for itself.
      answered = Math.max(answered, number);
      if (!settled()) return;
      for (const key of ["=on", "=position"]) if (key in now) states[key](JSON.parse(now[key]));
      // The record of what was pressed may stand further on in the same message.
      queueMicrotask(() => { for (const act of later.splice(0)) act(); });
    },
    "=on": (ids) => {
      if (!settled()) return;
      on = new Set(ids);
      all("[data-fault]").forEach((box) => {
        box.checked = on.has(box.dataset.fault);
        box.parentNode.classList.toggle("on", box.checked);
      });
    },
    "=playing": (is) => { playing = is; },
    "=look": (names) => { stage.classList.toggle("lk-still", names.includes("still")); },
    "=position": (place) => {
      if (!settled()) return;
      const list = find("select[data-do=go_to]");
      if (list) list.selectedIndex = place;
    },
    "=moments": (moments) => { leavePast(); layTrack(moments); },
  };

  function draw(svg) {
    stage.innerHTML = svg;
    slots = new Map();
    const picture = stage.firstElementChild;
    // A plant that is wider than the page is scrolled along, and not made too small to read.
    const wide = picture.viewBox.baseVal.width;
    picture.style.minWidth = wide > (width || widths[0]) ? `${wide}px` : "";
    picture.setAttribute("role", "group");
    picture.setAttribute("aria-label", "Picture of the plant; its parts are buttons");
    everyPart().forEach((part, i) => {
      part.setAttribute("role", "button");
      if (part.dataset.opens) part.setAttribute("aria-expanded", "false");
      else part.setAttribute("aria-haspopup", "dialog");
      nameAloud(part);
      part.setAttribute("tabindex", i ? "-1" : "0");
    });
  }

  // A list that is open stays open at its part, and the focus stays where it was.
  function redraw(svg) {
    const again = (part) => part && parts().find(
      (each) => each.dataset.part === part.dataset.part);
    const focused = document.activeElement?.closest?.("[data-part]");
    const room = openRoom?.dataset.opens;
    draw(svg);
    openRoom = null;
    if (room) showRoom(room);
    picked = again(picked) ?? null;
    if (opener !== search) opener = again(opener);
    if (picked) place(picked.getBoundingClientRect());
    if (focused) again(focused)?.focus();
  }

  const everyPart = () => [...stage.querySelectorAll("[data-part]")];
  // What is inside a room that is shut cannot be reached.
  const parts = () => everyPart().filter((part) => !part.closest(".opened.no"));
  const insideOf = (name) => stage.querySelector(`[data-inside="${CSS.escape(name)}"]`);

  // ---------------------------------------------------------------- rooms of a large plant

  function showRoom(name) {
    shutRoom();
    openRoom = parts().find((part) => part.dataset.part === name);
    openRoom?.setAttribute("aria-expanded", "true");
    insideOf(name).classList.remove("no");
  }

  function shutRoom(back = false) {
    if (!openRoom) return;
    insideOf(openRoom.dataset.opens).classList.add("no");
    openRoom.setAttribute("aria-expanded", "false");
    tabTo(openRoom);
    if (back) openRoom.focus();
    openRoom = null;
  }

  // What is pressed in the picture: a room opens or shuts, of a part one sees what can fail there.
  function press(part) {
    closePop();
    focusPart(part);
    if (!part.dataset.opens) openAt(part);
    else if (part === openRoom) shutRoom();
    else {
      showRoom(part.dataset.opens);
      focusPart(insideOf(part.dataset.opens).querySelector("[data-part]"));
    }
  }

  function receive(message) {
    if (message.picture) redraw(message.picture);
    if (message.frames) { slow = message.frames; showMoment(); return; }
    Object.assign(now, message.slots);
    const held = document.activeElement, before = held.dataset.do ? all("button, select") : [];
    set(message.slots);
    // What was pressed may be drawn anew or gone: its like has the focus then, or what stands before it.
    if (!before.includes(held) || held.isConnected) return;
    const { do: what, value } = held.dataset;
    (all(`[data-do="${what}"]`).find((each) => each.dataset.value === value)
      ?? before.slice(0, before.indexOf(held)).findLast((each) => each.getClientRects().length)
    )?.focus();
  }

  function send(what, value) {
    asked += 1;
    model.send({ do: what, value: value ?? null, at: past, number: asked });
    // What is done goes on from there; what is pressed next belongs to the present.
    if (!LOOKING.includes(what)) leavePast();
  }

  // ---------------------------------------------------------------- what can fail here

  function listFaults(title, chosen, none) {
    pop.replaceChildren();
    const head = document.createElement("div");
    head.className = "cap";
    head.textContent = chosen.length ? title : none;
    pop.append(head);
    for (const fault of chosen) {
      const label = document.createElement("label"), box = document.createElement("input");
      box.type = "checkbox";
      box.checked = on.has(fault.id);
      box.dataset.fault = fault.id;
      box.setAttribute("aria-label", fault.label);
      label.classList.toggle("on", box.checked);
      label.append(box, " ", picked ? fault.how : fault.label);
      pop.append(label);
    }
    pop.setAttribute("aria-label", title);
    pop.hidden = false;
  }

  function openAt(part) {
    closePop();
    picked = part;
    opener = part;
    const name = part.dataset.part;
    const chosen = faults.filter((fault) => fault.at.includes(name));
    const words = part.dataset.name;
    listFaults(`${words}: what can happen`, chosen, `${words}: nothing can be switched on here`);
    part.setAttribute("aria-expanded", "true");
    place(part.getBoundingClientRect());
    (pop.querySelector("input") ?? part).focus();
  }

  function place(box) {
    const frame = root.getBoundingClientRect(), size = pop.getBoundingClientRect();
    const below = box.bottom + 4 + size.height <= frame.bottom;
    const left = Math.min(Math.max(box.left, frame.left + 4), frame.right - size.width - 4);
    // Below the part where there is room, else above it; never over it.
    const top = below || box.top - size.height - 4 < frame.top ? box.bottom + 4
      : box.top - size.height - 4;
    pop.style.left = `${left - frame.left}px`;
    pop.style.top = `${top - frame.top}px`;
  }

  function closePop(back = false) {
    if (pop.hidden) return;
    pop.hidden = true;
    picked?.setAttribute("aria-expanded", "false");
    picked = null;
    if (back) opener?.focus();
  }

  function searchFor(words) {
    closePop();
    const wanted = words.toLowerCase().split(/\s+/).filter(Boolean);
    if (!wanted.length) return;
    opener = search;
    const chosen = faults.filter((fault) => wanted.every((word) =>
      `${fault.label} ${fault.place} ${fault.id}`.toLowerCase().includes(word)));
    listFaults(`${chosen.length} found`, chosen, `No fault is called "${words}". `
      + "Try a designation, a place, or what is wrong.");
    place(search.getBoundingClientRect());
  }

  // ---------------------------------------------------------------- going about by keys

  function move(from, key) {
    const room = from.closest(".opened");
    const list = parts().filter((part) => part.closest(".opened") === room);
    const at = list.indexOf(from);
    if (key === "Home") return list[0];
    if (key === "End") return list.at(-1);
    if (key === "ArrowRight") return list[Math.min(at + 1, list.length - 1)];
    if (key === "ArrowLeft") return list[Math.max(at - 1, 0)];
    const middle = (node) => {
      const box = node.getBoundingClientRect();
      return [box.left + box.width / 2, box.top + box.height / 2];
    };
    const [x, y] = middle(from), down = key === "ArrowDown" ? 1 : -1;
    let best = from, least = Infinity;
    for (const other of list) {
      const [ox, oy] = middle(other), dy = (oy - y) * down;
      if (dy < 8) continue;
      const far = dy + 2 * Math.abs(ox - x);
      if (far < least) [best, least] = [other, far];
    }
    return best;
  }

  function tabTo(part) {
    everyPart().forEach((each) => each.setAttribute("tabindex", each === part ? "0" : "-1"));
  }

  function focusPart(part) {
    tabTo(part);
    part.focus();
  }

  const ARROWS = ["ArrowLeft", "ArrowRight", "ArrowUp", "ArrowDown", "Home", "End"];

  function onKey(event) {
    // What is pressed here never reaches the notebook.
    event.stopPropagation();
    const part = event.target.closest?.("[data-part]");
    if (event.key === "Escape") {
      if (!pop.hidden) closePop(true);
      else if (openRoom) shutRoom(true);
      // Where the browser has not given the whole screen, its own key does not take it back.
      else if (root.classList.contains("lk-whole")) fillScreen(false);
      else return;
      event.preventDefault();
      return;
    }
    if (part && ARROWS.includes(event.key)) {
      focusPart(move(part, event.key));
      event.preventDefault();
    } else if (part && (event.key === "Enter" || event.key === " ")) {
      press(part);
      event.preventDefault();
    } else if (pop.contains(event.target) && /^Arrow(Up|Down)$/.test(event.key)) {
      const boxes = [...pop.querySelectorAll("input")], at = boxes.indexOf(event.target);
      boxes[(at + (event.key === "ArrowDown" ? 1 : boxes.length - 1)) % boxes.length]?.focus();
      event.preventDefault();
    } else if (pop.contains(event.target) && event.key === "Enter") {
      event.target.click?.();
      event.preventDefault();
    } else if (event.target === search && event.key === "ArrowDown") {
      pop.querySelector("input")?.focus();
      event.preventDefault();
    } else if (event.target === slider && ARROWS.includes(event.key)) {
      const by = /Right|Up/.test(event.key) ? 1 : -1;
      onceAnswered(() => {
        if (event.key === "Home") goTo(track[0]);
        else if (event.key === "End") goTo(track.at(-1));
        else if (event.shiftKey) goTo((past === null ? track.at(-1) : past - actMs) + by);
        else step(by);
      });
      event.preventDefault();
    }
  }

  // ---------------------------------------------------------------- slow motion

  let track = [], places = [], actMs = 0;

  // Moments stand apart by the logarithm of the time between them, so that each can be reached.
  function layTrack({ act, at }) {
    slow = null;
    actMs = act;
    track = at.length ? [BEFORE_MS, ...at] : [];
    places = track.map(() => 0);
    for (let i = 1; i < track.length; i += 1) {
      places[i] = places[i - 1] + 1 + Math.log2(1 + track[i] - track[i - 1]);
    }
    const whole = places.at(-1) || 1;
    places = places.map((each) => (1000 * each) / whole);
    slider.max = 1000;
    slider.step = "any";
    slider.value = 1000;
    // Not disabled: who stands on it would lose the focus.
    slider.ariaDisabled = !track.length;
    find("[data-moments]").setAttribute("d", places.slice(1).map((x) =>
      `M${(8 + 0.984 * x).toFixed(1)},3v14`).join(""));
    find("[data-at]").textContent = "";
  }

  function timeAt(place) {
    const i = Math.max(1, places.findIndex((each) => each >= place - 1e-9));
    const share = (place - places[i - 1]) / (places[i] - places[i - 1] || 1);
    return Math.round(track[i - 1] + share * (track[i] - track[i - 1]));
  }

  function placeOf(time) {
    const i = Math.max(1, track.findIndex((each) => each >= time));
    return places[i - 1] + ((time - track[i - 1]) / (track[i] - track[i - 1] || 1))
      * (places[i] - places[i - 1]);
  }

  function goTo(time) {
    if (!track.length) slider.value = 1000;
    if (!track.length) return;
    past = actMs + Math.min(Math.max(time, track[0]), track.at(-1));
    root.classList.add("lk-past");
    slider.value = placeOf(past - actMs);
    if (slow) showMoment();
    else model.send({ do: "frames" });
  }

  function showMoment() {
    if (past === null || !slow) return;
    const time = past - actMs;
    let i = slow.at.length - 1;
    while (i > 0 && slow.at[i] > time) i -= 1;
    const values = {};
    for (const frame of slow.slots.slice(0, i + 1)) Object.assign(values, frame);
    set(values);
    const words = `${(time / 1000).toFixed(3)} s: ${slow.words[i]}`;
    find("[data-at]").textContent = words;
    slider.setAttribute("aria-valuetext", words);
  }

  function step(by) {
    const time = past === null ? track.at(-1) + 1 : past - actMs;
    const next = by > 0 ? track.find((each) => each > time)
      : track.filter((each) => each < time).at(-1);
    if (next !== undefined) goTo(next);
    return next !== undefined;
  }

  function leavePast() {
    playSlowly(false);
    if (past === null) return;
    past = null;
    root.classList.remove("lk-past");
    slider.value = 1000;
    find("[data-at]").textContent = "";
    // What stands beside the picture was not moved, and a list drawn anew would lose the focus.
    const moved = slow?.slots.flatMap(Object.keys) ?? [];
    set(Object.fromEntries(moved.map((key) => [key, now[key]])));
  }

  function playSlowly(is) {
    clearInterval(slowPlay);
    slowPlay = 0;
    const button = find("[data-slow-do=play]");
    button.setAttribute("aria-pressed", is);
    if (!is || !track.length) return;
    if (past === null || past - actMs >= track.at(-1)) goTo(track[0]);
    slowPlay = setInterval(() => { if (slow && !step(1)) playSlowly(false); }, SLOW_MS);
  }

  const SLOW = {
    back: () => { playSlowly(false); step(-1); },
    next: () => { playSlowly(false); step(1); },
    now: leavePast,
    play: () => playSlowly(!slowPlay),
  };

  // ---------------------------------------------------------------- what is pressed

  function onClick(event) {
    const target = event.target;
    const button = target.closest("button");
    const part = target.closest("[data-part]")
      ?? (target.dataset?.of && parts().find((each) => each.dataset.part === target.dataset.of));
    if (part) {
      if (part === picked) closePop(true);
      else press(part);
      return;
    }
    if (!pop.contains(target) && target !== search) closePop();
    if (openRoom && stage.contains(target) && !target.closest(".opened")) shutRoom();
    if (!button) return;
    if (button.dataset.from) send(button.dataset.do, find(`[data-${button.dataset.from}]`).value);
    else if (button.dataset.do) send(button.dataset.do, button.dataset.value);
    else if (button.dataset.slowDo) onceAnswered(SLOW[button.dataset.slowDo]);
    else if (button.dataset.drawer) toggleDrawer(button);
    else if ("full" in button.dataset) fillScreen(!root.classList.contains("lk-whole"));
  }

  function onChange(event) {
    const { dataset, value, checked, type, selectedIndex } = event.target;
    if (dataset.fault) {
      on[checked ? "add" : "delete"](dataset.fault);
      send("switch", [dataset.fault, checked]);
      // The list makes room for what is to be seen now; that costs a layout, while the engine works.
      closePop(true);
    }
    else if ("own" in dataset) send("own", [Number(dataset.own), checked]);
    else if (dataset.do === "go_to") send("go_to", selectedIndex);
    else if (dataset.do) send(dataset.do, type === "checkbox" ? checked : value);
  }

  function onInput(event) {
    if (event.target === search) searchFor(search.value);
    else if (event.target === slider) { playSlowly(false); goTo(timeAt(Number(slider.value))); }
  }

  function toggleDrawer(button) {
    const drawer = find(`[data-in="${button.dataset.drawer}"]`);
    drawer.hidden = !drawer.hidden;
    button.setAttribute("aria-expanded", !drawer.hidden);
    send(drawer.hidden ? "fold" : "unfold", button.dataset.drawer);
  }

  function fillScreen(whole) {
    root.classList.toggle("lk-whole", whole);
    document.body.classList.toggle("lk-filled", whole);
    find("[data-full]").textContent = whole ? "Leave full screen" : "Full screen";
    if (whole) root.requestFullscreen?.().catch(() => {});
    else if (document.fullscreenElement) document.exitFullscreen();
  }

  // The browser has its own key for leaving it.
  function onFullScreen() {
    if (!document.fullscreenElement && root.classList.contains("lk-whole")) fillScreen(false);
  }

  // ---------------------------------------------------------------- size, clock, start and end

  const sizes = new ResizeObserver(() => {
    if (root.classList.contains("lk-projector")) root.closest(".jp-Cell")?.classList.add("lk-wall");
    // A wall shows things larger where its racks still stand in one row; elsewhere they would not fit.
    const large = root.classList.contains("lk-projector") && innerHeight >= LOW_PX
      && 1.02 * stage.clientWidth >= WALL * widths[0];
    const there = stage.clientWidth / (large ? WALL : 1);
    const fitting = widths.find((each) => each <= 1.02 * there) ?? widths.at(-1);
    if (there && fitting !== width) {
      width = fitting;
      send("fit", width);
    }
  });
  // The clock ticks in the page, so that it stops with it; and never faster than it is answered.
  // It stands while one looks at the past: a tick there would begin another story.
  const clock = setInterval(() => {
    if (playing && past === null && settled() && !document.hidden && root.isConnected) send("tick");
  }, TICK_MS);

  // JupyterLab and Notebook take keys for their cells unless the very target carries this.
  root.addEventListener("focusin", ({ target }) =>
    target.setAttribute("data-lm-suppress-shortcuts", "true"));
  root.addEventListener("click", onClick);
  root.addEventListener("change", onChange);
  root.addEventListener("input", onInput);
  root.addEventListener("keydown", onKey);
  for (const kind of ["keyup", "keypress"]) {
    root.addEventListener(kind, (event) => event.stopPropagation());
  }
  document.addEventListener("fullscreenchange", onFullScreen);
  model.on("msg:custom", receive);
  draw(model.get("picture"));
  sizes.observe(stage);
  if (matchMedia("(prefers-reduced-motion: reduce)").matches) send("write_flashing", true);
  return () => {
    sizes.disconnect();
    document.removeEventListener("fullscreenchange", onFullScreen);
    document.body.classList.remove("lk-filled");
    clearInterval(clock);
    clearInterval(slowPlay);
    model.off?.("msg:custom", receive);
    // A notebook keeps the place of an output that is gone; what stood in it is given back.
    el.replaceChildren();
  };
}

export default { render };
