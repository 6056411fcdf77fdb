// ---------------------------------------------------------------- a page without a notebook

// The colours follow the theme of the machine.
function followTheme() {
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const set = () => { document.documentElement.dataset.jpThemeLight = String(!dark.matches); };
  dark.addEventListener("change", set);
  set();
}

// What stands in the page for the driver: deflated JSON in base64.
async function packedData() {
  const text = document.getElementById("data").textContent;
  const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Response(stream).json();
}

function put(model) {
  const place = document.getElementById("rig");
  place.replaceChildren();
  render({ model, el: place });
}

followTheme();
