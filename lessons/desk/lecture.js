// The driver of a lecture: each press is asked of the engine in the process that has opened it.
const data = await packedData();
const RECORD_PX = 300;
let heard = () => {}, asked = Promise.resolve(), fitted = false;

async function ask(message) {
  const answer = await fetch(location.href, { method: "POST", body: JSON.stringify(message) });
  for (const each of await answer.json()) heard(each);
  if (message.do === "fit" && !fitted) showReasons();
}

// The whole record says the reasons too: where the picture leaves room for it, now and later.
function showReasons() {
  fitted = true;
  const last = document.querySelector(".lk-slow").getBoundingClientRect().bottom;
  if (innerHeight - last >= RECORD_PX) document.querySelector("[data-drawer=record]").click();
}

put({
  get: (name) => data[name],
  on: (_event, callback) => { heard = callback; },
  off: () => { heard = () => {}; },
  // One after the other, so that answers come in the order of the questions.
  send: (message) => {
    asked = asked.then(() => ask(message)).catch(() => heard({
      slots: { wrong: "The program that opened this page has ended.", "wrong.box@": "lk-message" },
    }));
  },
});
