// The whole log: by time with all other speech between, or by tooth and canal.

import { h } from '/assets/dom.js';
import { make } from '/assets/editor.js';
import { play } from '/assets/player.js';
import { go, state } from '/assets/state.js';
import { canalText, carried, clock, doubtsOf, fieldName, kindName, reviewText, statusText, valueText } from '/assets/words.js';

let by = localStorage.getItem('by') ?? 'time';
/** Key of a row → what it was made of and its element, so that only what changed is made again. */
let rows = new Map();
let shownOf = null;
/** Which rows are shown, in which order. */
let order = '';
/** The entry whose row is marked, and its row. */
let marked = null;

export function render(pane) {
  const { view } = state;
  if (shownOf !== view.id) { rows = new Map(); shownOf = view.id; }
  const keep = new Map();
  const before = rows;
  const use = (key, of, build) => {
    const text = JSON.stringify(of);
    const old = rows.get(key);
    const row = old && old.text === text ? old : { text, node: build(of) };
    keep.set(key, row);
    return row.node;
  };
  const entryRow = (e) => use(e.id, e, entryNode);
  const speechRow = (u, n) => use(`u${n}`, u, () => speechNode(u, n));
  let blocks;
  if (by === 'time') {
    const all = [...view.entries.map((e) => [e.from_s, entryRow(e)]), ...view.unplaced.map((u, n) => [u.from_s, speechRow(u, n)])];
    all.sort((a, b) => a[0] - b[0]);
    blocks = () => [list('By time', all.map(([, node]) => node))];
  } else {
    const parts = groups(view.entries).map(([name, entries]) => [name, entries.map(entryRow)]);
    if (view.unplaced.length) parts.push(['Speech without a place', view.unplaced.map(speechRow)]);
    blocks = () => parts.map(([name, nodes]) => section(name, nodes));
  }
  rows = keep;
  // Mostly one row changes: only that one is exchanged then, and a log of hundreds stays fluid.
  const now = [view.id, by, ...groups(view.entries).map(([name]) => name), ...keep.keys()].join(' ');
  if (now === order && pane.childElementCount) {
    for (const [key, row] of keep) if (before.get(key).node !== row.node) exchange(before.get(key).node, row.node);
    mark();
    return;
  }
  order = now;
  const keepAt = pane.scrollTop;
  const focus = pane.contains(document.activeElement) ? document.activeElement : null;
  pane.replaceChildren(h('h1', {}, 'The whole log'), switches(pane), ...blocks());
  pane.scrollTop = keepAt;
  if (focus?.isConnected) focus.focus({ preventScroll: true });
  mark();
}

/** Puts the new row where the old one was, and the focus on the same button. */
function exchange(old, row) {
  const at = [...old.querySelectorAll('button')].indexOf(document.activeElement);
  old.replaceWith(row);
  if (at >= 0) row.querySelectorAll('button')[at]?.focus({ preventScroll: true });
}

/** Marks the row of the place that is looked at. */
export function mark(scroll = false) {
  const id = state.at?.startsWith('doubt:') || state.at?.startsWith('entry:') ? state.at.split(':')[1] : null;
  const key = id ?? (state.at?.startsWith('speech:') ? `u${state.at.split(':')[1]}` : null);
  const row = rows.get(key)?.node;
  if (marked && marked !== row) marked.classList.remove('here');
  marked = row;
  if (!row) return;
  row.classList.add('here');
  if (scroll && row.offsetParent && matchMedia('(min-width: 68rem)').matches) row.scrollIntoView({ block: 'nearest' });
}

function switches(pane) {
  const button = (value, label) => h('button', {
    'aria-pressed': String(by === value), data: { act: `by-${value}` },
    on: { click: () => { by = value; localStorage.setItem('by', value); render(pane); pane.querySelector(`[data-act="by-${value}"]`).focus(); } },
  }, label);
  return h('div', { class: 'switch', role: 'group', 'aria-label': 'Order of the log' }, button('time', 'By time'), button('place', 'By tooth and canal'));
}

const list = (label, nodes) => h('ul', { class: 'record', 'aria-label': label }, nodes);

function section(name, nodes) {
  return h('section', {}, h('h2', {}, name), list(name, nodes));
}

/** Tooth by tooth, what belongs to the tooth first, then canal by canal; an entry of several canals under their names. */
function groups(entries) {
  const teeth = new Map();
  for (const e of entries) {
    const tooth = e.tooth ? `Tooth ${e.tooth}` : 'No tooth named';
    const canal = e.canal ? canalText(e.canal) : '';
    if (!teeth.has(tooth)) teeth.set(tooth, new Map([['', []]]));
    const canals = teeth.get(tooth);
    if (!canals.has(canal)) canals.set(canal, []);
    canals.get(canal).push(e);
  }
  return [...teeth].flatMap(([tooth, canals]) => [...canals].filter(([, of]) => of.length)
    .map(([canal, of]) => [canal ? `${tooth}, ${canal}` : tooth, of]));
}

function entryNode(e) {
  const [sign, word] = reviewText(e);
  // A text that is the words themselves is not said twice.
  const values = Object.entries(e.values).filter(([f, v]) => f !== 'said_as' && !(f === 'text' && v === e.said.trim()));
  const said = (field, text) => (text ? h('span', { class: carried(e, field) ? 'carried' : '' }, text, carried(e, field) && h('span', { class: 'hidden' }, ' (carried on)')) : null);
  const open = () => {
    go(`${e.doubts.length && !e.cannot_tell && e.review !== 'struck' ? 'doubt' : 'entry'}:${e.id}`);
    if (getComputedStyle(document.querySelector('.tab[data-act="look"]')).display !== 'none') document.querySelector('.tab[data-act="look"]').click();
    document.getElementById('card-title')?.focus();
  };
  return h('li', { class: `entry ${e.review}${e.doubts.length ? ' open' : ''}`, id: `row-${e.id}` },
    h('button', { class: 'hear', 'aria-label': `Play ${clock(e.from_s)}`, on: { click: () => play([e.from_s, e.to_s]) } }, h('span', { 'aria-hidden': 'true' }, '▶ '), clock(e.from_s)),
    h('button', { class: 'main', on: { click: open } },
      h('span', { class: 'what' }, kindName(e.kind), statusText(e.status) && h('span', { class: 'badge' }, statusText(e.status))),
      h('span', { class: 'at' }, said('tooth', e.tooth), e.canal && ' ', said('canal', canalText(e.canal))),
      h('span', { class: 'says' }, values.map(([f, v]) => h('span', { class: `pair${doubtsOf(e, f).length ? ' doubted' : ''}` },
        h('span', { class: 'small' }, fieldName(f)), ' ', h('b', {}, valueText(f, v)),
        doubtsOf(e, f).length > 0 && h('span', { class: 'query' }, '?'),
        e.heard && f in e.heard && h('span', { class: 'small' }, ` heard ${valueText(f, e.heard[f])}`)))),
      h('span', { class: 'words' }, `“${e.said}”`),
      h('span', { class: 'sign' }, `${sign} ${word}`)));
}

function speechNode(u, n) {
  return h('li', { class: 'speech' },
    h('button', { class: 'hear', 'aria-label': `Play ${clock(u.from_s)}`, on: { click: () => play([u.from_s, u.to_s]) } }, h('span', { 'aria-hidden': 'true' }, '▶ '), clock(u.from_s)),
    h('p', {}, h('span', { class: 'words' }, u.said.trim() ? `“${u.said.trim()}”` : 'could not be made out'),
      u.why && h('span', { class: 'small' }, ` ${u.why}`),
      u.entries && h('span', { class: 'small' }, ` → ${u.entries.join(', ')}`)),
    h('button', { class: 'plain', data: { act: `make-${n}` }, on: { click: () => make({ unplaced: n }, u) } }, 'Make an entry'));
}
