/* JupyterLab takes the arrow keys and Enter for its cells, also from a control in an output, unless
   that control carries this attribute. A chart that scrolls can be reached by the Tab key: it is
   called what its picture is called. The handle of a slider is called what stands before it. */
root?.addEventListener('focusin', ({ target }) => {
  target.setAttribute('data-lm-suppress-shortcuts', 'true');
  if (target.matches('.noUi-handle'))
    target.ariaLabel = target.closest('.widget-slider').querySelector('label').textContent;
  if (!target.matches('.lk-chart')) return;
  target.setAttribute('role', 'group');
  target.setAttribute('aria-label', target.querySelector('svg')?.ariaLabel ?? '');
});
