/* Keys typed in a question stay there. Runs once for each box of ours, whose root is "root": a
   question, or a panel whose buttons read what was entered.
   JupyterLab takes keys for its cells (a inserts one, d d deletes one), also from a control in an
   output, unless the control that has the focus carries this attribute. */
/* A box that was taken off the page before this runs has nothing to guard. */
if (!root) return;
const OWN = 'data-lm-suppress-shortcuts';
const ours = node => node.closest('.lkx, .lk-panel') === root;
let inside = false;
root.tabIndex = -1;
root.setAttribute(OWN, 'true');
root.addEventListener('focusin', event => {
  inside = true;
  event.target.setAttribute(OWN, 'true');
});
root.addEventListener('focusout', event => {
  inside = root.contains(event.relatedTarget);
});
/* A button that goes away or is disabled leaves the focus nowhere: the root takes it. */
new MutationObserver(() => {
  const at = document.activeElement;
  if (inside && (at === document.body || at.disabled)) root.focus({preventScroll: true});
}).observe(root, {subtree: true, childList: true, attributeFilter: ['disabled']});
/* A panel that was asked for is in sight as a whole, or from its head on. */
let shown = root.querySelector('.lk-panel');
new MutationObserver(() => {
  const panel = root.querySelector('.lk-panel'), grown = panel !== shown && panel && inside;
  shown = panel;
  if (!grown) return;
  const sizes = new ResizeObserver(() => panel.scrollIntoView({block: 'nearest'}));
  sizes.observe(panel);
  setTimeout(() => sizes.disconnect(), 1000);
}).observe(root, {subtree: true, childList: true});
/* On the way down, since a line of text stops the event on its way up. */
root.addEventListener('keydown', event => {
  const at = event.target;
  if (!ours(at) || event.ctrlKey || event.altKey || event.metaKey) return;
  if (event.key === 'Enter' && at.matches('input[type=text]')) {
    [...root.querySelectorAll('.lkx-main')].find(ours)?.click();
  } else if (!at.matches('input[type=text], textarea, select') && /^[a-z]$/i.test(event.key)) {
    const place = event.key.toLowerCase().charCodeAt(0) - 97;
    const option = [...root.querySelectorAll('input[type=radio], .lkx-card')].filter(ours)[place];
    if (!option || option.disabled) return;
    option.click();
    (option.type === 'radio' ? option : root).focus({preventScroll: true});
  }
}, true);
/* While the kernel has an entry's last change, the next one waits; a press of a button does not.
   It would be judged by an answer that was half typed. So it waits until the kernel has heard all:
   what it said back since the last change, and not before it, is what stands in the entries. */
const PATIENCE_MS = 10000;
let since = 0, unheard = null;
const said = entry => {
  const radios = [...entry.querySelectorAll('input[type=radio]')];
  return radios.length ? radios.findIndex(radio => radio.checked)
    : entry.querySelector('input[type=text], textarea')?.value
      ?? entry.querySelector('select')?.selectedIndex;
};
const ear = () => [...root.querySelectorAll('.lkx-heard')].find(ours);
const agrees = told => {
  const all = [...root.querySelectorAll('.lkx-entry')].filter(ours).map(said);
  return JSON.stringify(all) === JSON.stringify(JSON.parse(told.textContent));
};
const isHeard = () => {
  const told = ear();
  return !told || told !== unheard && agrees(told);
};
root.addEventListener('input', event => {
  const entry = event.target.closest('.lkx-entry');
  if (entry && ours(entry)) unheard = ear();
}, true);
new MutationObserver(changes => {
  if (unheard && changes.some(each => unheard.contains(each.target)) && agrees(unheard))
    unheard = null;
}).observe(root, {subtree: true, childList: true, characterData: true});
root.addEventListener('click', event => {
  const button = event.target.closest('button');
  if (!button || !ours(button)) return;
  since ||= Date.now();
  if (isHeard() || Date.now() - since > PATIENCE_MS) { since = 0; return; }
  event.stopImmediatePropagation();
  setTimeout(() => button.click(), 10);
}, true);
