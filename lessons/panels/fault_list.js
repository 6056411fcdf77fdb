/* The list is one stop of the Tab key, at the box that was left; arrows move among the boxes that
   are shown. */
root.addEventListener('keydown', event => {
  const all = [...root.querySelectorAll('.lk-faults input')];
  const boxes = all.filter(box => box.offsetParent), here = boxes.indexOf(event.target);
  if (event.key === 'Tab') {
    const stop = boxes[here] ?? boxes.find(box => box.tabIndex === 0) ?? boxes[0];
    all.forEach(box => { box.tabIndex = box === stop ? 0 : -1; });
    return;
  }
  const to = { ArrowDown: here + 1, ArrowUp: here - 1, Home: 0, End: boxes.length - 1 }[event.key];
  if (here < 0 || to === undefined) return;
  event.preventDefault();
  boxes[to]?.focus();
});
