// Elements without markup in strings: what was said is only ever text.

/**
 * An element. `props`: `class`, `on` (event → function), `data` (dataset), properties that start with a dot, attributes.
 * @param {string} tag
 * @param {Record<string, any>} [props]
 * @param {...any} children nodes, texts, numbers, lists of them; null and false are left out
 */
export function h(tag, props = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (value === null || value === undefined || value === false) continue;
    if (name === 'class') node.className = value;
    else if (name === 'on') for (const [event, run] of Object.entries(value)) node.addEventListener(event, run);
    else if (name === 'data') Object.assign(node.dataset, value);
    else if (name.startsWith('.')) node[name.slice(1)] = value;
    else node.setAttribute(name, value === true ? '' : String(value));
  }
  add(node, children);
  return node;
}

function add(node, children) {
  for (const child of children) {
    if (child === null || child === undefined || child === false) continue;
    if (Array.isArray(child)) add(node, child);
    else node.append(child);
  }
}

/** Replaces what is in a node, and keeps the focus on the button of the same name, or on what `fallback` names. */
export function fill(node, children, fallback) {
  const active = document.activeElement;
  const inside = active && active !== node && node.contains(active);
  const act = inside ? active.dataset.act : undefined;
  node.replaceChildren();
  add(node, [children]);
  if (inside) {
    const same = act && node.querySelector(`[data-act="${CSS.escape(act)}"]:not([disabled])`);
    const next = same || (fallback && node.querySelector(fallback));
    if (next) next.focus({ preventScroll: Boolean(same) });
  }
}

/** Says a change to those who do not see it. */
export function tell(sentence) {
  const told = document.getElementById('told');
  told.textContent = '';
  // A change of the text is announced, not its presence.
  requestAnimationFrame(() => { told.textContent = sentence; });
  told.classList.add('shown');
  clearTimeout(tell.timer);
  tell.timer = setTimeout(() => told.classList.remove('shown'), 4000);
}

/** A dialog that gives what its form was closed with; null where it was left. */
export function dialog(title, build, { wide = false } = {}) {
  return new Promise((resolve) => {
    const box = h('dialog', { class: wide ? 'wide' : '', 'aria-labelledby': 'dialog-title' });
    const done = (value) => { box.close(); box.remove(); resolve(value); };
    box.append(h('h2', { id: 'dialog-title' }, title), build(done));
    box.addEventListener('cancel', (e) => { e.preventDefault(); done(null); });
    document.getElementById('dialogs').append(box);
    const before = document.activeElement;
    box.addEventListener('close', () => { if (before && before.isConnected) before.focus(); });
    box.showModal();
  });
}
