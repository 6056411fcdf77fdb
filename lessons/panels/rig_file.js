// ---------------------------------------------------------------- the rig without Python
// A second driver of the front end above: it answers from a table of settled states. It knows no
// rule of the pair either: what it shows stands in the table, for each act of each state.

function driver(data) {
  const { states, slots, words, sets, rows, healthy } = data.table;
  const { widths, faults_here: faults } = data.panel;
  const count = faults.length, CHANGE = 2 * count, ALL_OFF = CHANGE + 1;
  const index = new Map(faults.map((fault, i) => [fault.id, i]));
  const escaped = (text) => text.replace(/[&<>"]/g, (each) => `&#${each.charCodeAt(0)};`);
  let heard = () => {}, sent = {}, width = widths[0], still = false;
  // The acts of the story, how many of them are done, and where that has led to.
  let story = [], done = 0, told = false, at = 0, seen = {}, record = [], wrong = "";
  let answered = 0;

  const on = () => states[at][0].map((i) => faults[i].id);
  const short = (act) => data.acts[act][0];
  const line = () => story.map(short).join(";");
  const plain = (text) => text.toLowerCase().replace(/[\s_]+/g, "");
  function unfolded(text) {
    try { return decodeURIComponent(text); } catch { return text; /* it is taken as it stands */ }
  }

  const known = new Map(data.acts.map(([word], act) => [plain(word), act]));

  // ---------------------------------------------------------------- where an act leads

  function start() {
    [at, done, record] = [0, 0, []];
    seen = { ...healthy, act: data.start };
  }

  // The way of an act, or why there is none.
  function way(act) {
    const found = states[at].find((each, i) => i && each[0] === act);
    if (found) return found;
    if (act < count && !on().includes(faults[act].id)) {
      return `This page holds ${data.upto}: ${on().join(" and ")} ${on().length > 1 ? "are" : "is"} `
        + "on. Switch one off first, or try it in the workbook.";
    }
    return act < count ? `${faults[act].id} is on already.`
      : act < CHANGE ? `${faults[act - count].id} is not on.` : "No fault is on.";
  }

  function take(act) {
    const found = way(act);
    if (typeof found === "string") { wrong = found; return false; }
    const [, target, sight, said] = found;
    seen = { ...healthy };
    for (const set of sight) {
      for (let i = 0; i < sets[set].length; i += 2) {
        seen[slots[sets[set][i]]] = words[sets[set][i + 1]];
      }
    }
    at = target;
    done += 1;
    record.unshift(said.map((row) => rows[row]).join(""));
    return true;
  }

  function act(number) {
    const before = done;
    if (!take(number)) return;
    story = [...story.slice(0, before), number];
  }

  function allOff() {
    const is = states[at][0];
    if (is.length) act(is.length > 1 ? ALL_OFF : count + is[0]);
  }

  // ---------------------------------------------------------------- stories

  function open(text) {
    const wanted = unfolded(text.trim().replace(/^[^#]*#/, ""));
    const acts = [];
    for (const word of wanted.split(";").filter((each) => each.trim())) {
      if (!known.has(plain(word))) {
        wrong = `No act is called "${word.trim()}". Write acts like ${data.example}, with ; `
          + "between them. A minus before a fault takes it away.";
        return;
      }
      acts.push(known.get(plain(word)));
    }
    [story, told] = [acts, acts.length > 0];
    goTo(acts.length);
  }

  function goTo(position) {
    start();
    for (const each of story.slice(0, Math.max(0, position))) {
      if (!take(each)) { wrong = `Act ${done + 1}, ${short(each)}: ${wrong}`; break; }
    }
  }

  function storyHtml() {
    if (!told) return "";
    const acts = ["0. the beginning", ...story.map((each, i) => `${i + 1}. ${data.acts[each][1]}`)];
    const listed = acts.map((each) => `<option>${escaped(each)}</option>`).join("");
    const [before, size, list, after] = data.story;
    return `${before}<b>Story.</b> ${escaped(line())}${size}${
      Math.min(data.most_rows, acts.length)}${list}${listed}${after}`;
  }

  function shelfHtml() {
    return '<div class="lk-bar"><label>Story in one line <input type="text" data-story-line '
      + `value="${escaped(line())}" placeholder="${escaped(data.example)}"></label>`
      + '<button type="button" data-do="open_story" data-from="story-line">Open</button></div>'
      + "<p>What you do writes itself into this line and into the address of the page, behind #. "
      + "Send either: who opens it sees the same.</p>";
  }

  // ---------------------------------------------------------------- what is told to the front end

  function values() {
    const own = `${width} `, all = {};
    for (const [key, value] of Object.entries(seen)) {
      if (!/^\d/.test(key)) all[key] = value;
      else if (key.startsWith(own)) all[key.slice(own.length)] = value;
    }
    return {
      ...all, "head.time": done ? `a minute after act ${done}` : "at rest",
      wrong, "wrong.box@": wrong ? "lk-message" : "lk-none",
      "record@html": data.record[0] + record.join("") + data.record[1],
      "stories@html": shelfHtml(), "story@html": storyHtml(),
      "=on": JSON.stringify(on()), "=position": JSON.stringify(done),
      "=answered": JSON.stringify(answered),
      "=look": JSON.stringify(still ? ["still"] : []),
    };
  }

  function tell(more = {}) {
    const now = values(), fresh = {};
    for (const [key, value] of Object.entries(now)) {
      // A box that was ticked in vain is set back; a list that was built anew has no choice yet.
      if (key[0] === "=" || (more.picture && !key.endsWith("@html")) || sent[key] !== value) {
        fresh[key] = value;
      }
    }
    sent = now;
    heard({ ...more, slots: fresh });
    const address = story.length ? `#${encodeURI(line())}` : " ";
    if (unfolded(location.hash) !== unfolded(address.trim())) {
      try { history.replaceState(null, "", address.trim() || location.pathname); } catch { /* a mail program */ }
    }
  }

  const acts = {
    switch: ([id, is]) => act((is ? 0 : count) + index.get(id)),
    change_roles: () => act(CHANGE),
    all_off: allOff,
    start_again: () => { [story, told] = [[], false]; start(); },
    open_story: open,
    go_to: goTo,
    next_act: () => { if (done < story.length) take(story[done]); },
    back: () => goTo(done - 1),
    close_story: () => { told = false; },
    write_flashing: (is) => { still = is; },
  };

  start();
  return {
    get: (name) => (name === "picture" ? data.pictures[width] : data.panel[name]),
    on: (_event, callback) => { heard = callback; },
    off: () => { heard = () => {}; },
    send: ({ do: what, value, number = answered }) => {
      answered = number;
      if (what === "fit") {
        width = value;
        tell({ picture: data.pictures[width] });
        return;
      }
      wrong = "";
      acts[what]?.(value);
      tell();
    },
  };
}

const model = driver(await packedData());
put(model);
const openAddress = () => model.send({ do: "open_story", value: location.hash });
openAddress();
addEventListener("hashchange", openAddress);
