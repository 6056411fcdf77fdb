// The driver of a lecture: each press is asked of the engine in the process that has opened it.
const data = await packedData();
let heard = () => {}, asked = Promise.resolve();

async function ask(message) {
  const answer = await fetch(location.href, { method: "POST", body: JSON.stringify(message) });
  for (const each of await answer.json()) heard(each);
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
// There is room for the reasons too.
document.querySelector("[data-drawer=record]").click();
