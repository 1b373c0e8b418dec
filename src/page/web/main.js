// Brings it together: enters, opens a log or the desk, draws what changed, listens to keys.

import { enter, get, me, post } from '/assets/api.js';
import * as canals from '/assets/canals.js';
import * as desk from '/assets/desk.js';
import { h, tell } from '/assets/dom.js';
import * as history from '/assets/history.js';
import { hint, listen } from '/assets/keys.js';
import * as live from '/assets/live.js';
import * as look from '/assets/look.js';
import * as player from '/assets/player.js';
import * as record from '/assets/record.js';
import { applySettings, settings } from '/assets/settings.js';
import * as sign from '/assets/sign.js';
import { again, decide, forget, go, item, load, onChange, queue, span, state, step, watch } from '/assets/state.js';
import { many, setForms } from '/assets/words.js';

const VIEWS = [['look', 'To look at', look], ['record', 'Log', record], ['canals', 'Canals', canals], ['history', 'History', history], ['sign', 'Sign', sign]];
const main = document.getElementById('main');
const top = document.getElementById('top');
const wide = matchMedia('(min-width: 68rem)');
const panes = {};

function header(recording) {
  const { view } = state;
  if (!view) {
    top.replaceChildren(recording ? h('button', { class: 'plain', data: { act: 'desk' }, on: { click: () => openDesk() } }, '‹ Desk') : '', h('p', { class: 'name' }, 'tugback'), h('button', { class: 'plain', data: { act: 'settings' }, on: { click: settings } }, 'Settings'));
    return;
  }
  const left = view.worst.filter((o) => o.is !== 'unseen').length;
  const unseen = view.worst.length - left;
  const is = {
    draft: () => (left || unseen ? `Draft · ${left} to look at, ${unseen} to read` : 'Draft · all seen'),
    signed: () => `✓ Signed · ${view.state.by.name}`,
    amended: () => `✎ Amended · ${many(view.state.changes, 'change', 'changes')} since signing`,
  }[view.state.is]();
  const button = (act, label, run, on) => h('button', { class: 'plain', disabled: !on, title: hint(act) ? `${label} (${hint(act)})` : label, data: { act }, on: { click: run } }, label);
  const active = top.contains(document.activeElement) ? document.activeElement.dataset.act : null;
  top.replaceChildren(
    me.desk ? h('button', { class: 'plain', data: { act: 'desk' }, on: { click: () => openDesk() } }, '‹ Desk') : '',
    h('p', { class: 'name' }, view.name, view.case.teeth?.length ? h('span', { class: 'quiet' }, ` tooth ${view.case.teeth.join(', ')}`) : ''),
    h('p', { class: `state ${view.state.is}` }, is),
    h('span', { class: 'row' },
      button('undo', 'Undo', () => act('undo'), view.undo), button('redo', 'Redo', () => act('redo'), view.redo), button('settings', 'Settings', settings, true)),
    h('nav', { class: 'tabs', 'aria-label': 'Views' }, VIEWS.map(([id, label]) => h('button', {
      class: 'tab', 'aria-current': shownTab() === id ? 'page' : null, data: { act: id }, on: { click: () => show(id) },
    }, label))));
  if (active) top.querySelector(`[data-act="${active}"]`)?.focus();
}

/** On a wide screen what needs eyes is always there, and the log beside it. */
const shownTab = () => (wide.matches && state.tab === 'look' ? 'record' : state.tab);

function show(tab) {
  state.tab = tab;
  draw({ at: true });
  scrollTo({ top: 0 });
  const title = panes[shownTab()]?.querySelector('h1, #card-title');
  if (title) { title.tabIndex = -1; title.focus({ preventScroll: true }); }
}

function frame() {
  main.replaceChildren(h('div', { id: 'notice' }), h('div', { class: 'panes' }, VIEWS.map(([id]) => {
    panes[id] = h('section', { id, class: 'pane', 'aria-label': VIEWS.find(([v]) => v === id)[1] });
    return panes[id];
  })));
}

let dirty = new Set();

function draw(what = {}) {
  if (!state.view) return;
  const tab = shownTab();
  document.body.dataset.tab = tab;
  if (what.log) dirty = new Set(VIEWS.map(([id]) => id));
  header();
  notice();
  const visible = wide.matches ? ['look', tab] : [tab];
  for (const [id, , module] of VIEWS) {
    panes[id].hidden = !visible.includes(id);
    if (!visible.includes(id)) continue;
    const always = id === 'look' && what.at;
    if (always || dirty.has(id) || !panes[id].childElementCount) module.render(panes[id]);
    dirty.delete(id);
  }
  if (what.at || what.log) {
    record.mark(true);
    player.mark(span());
  }
}

/** A decision that is not saved yet stays in sight until it is, or is given up. */
function notice() {
  const { pending } = state;
  const { broken } = state.view;
  document.getElementById('notice').replaceChildren(...(broken ? [h('div', { class: 'notice', role: 'alert' },
    h('p', {}, h('b', {}, 'This log does not fit its history. '), `${broken.charAt(0).toUpperCase()}${broken.slice(1)}. Take an untouched copy, or look through all of it again.`))] : []), ...(pending ? [h('div', { class: 'notice', role: 'alert' },
    h('p', {}, h('b', {}, 'Not saved. '), pending.sentence),
    h('div', { class: 'row' }, h('button', { class: 'first', on: { click: again } }, 'Try again'), h('button', { on: { click: forget } }, 'Give it up')))] : []));
}

async function act(id, n) {
  if (id === 'settings') return settings();
  if (!state.view) return undefined;
  const run = {
    play: () => player.play(span()), pause: player.toggle, back: () => player.back(2),
    slower: () => player.faster(-1), faster: () => player.faster(1),
    accept: look.accept, correct: look.correctIt, strike: look.strike, cannot: look.cannot, make: look.makeIt,
    next: () => step(1), before: () => step(-1), choice: () => look.choose(n),
    undo: () => state.view.undo && turn('undo', 'Taken back.'), redo: () => state.view.redo && turn('redo', 'Done again.'),
  }[id];
  if (!run) return show(id);
  if (!DECIDES.includes(id)) return run();
  // One after the other: a key that is pressed while the one before is being written means what is shown after it.
  deciding = deciding.then(run).catch((e) => tell(e.message));
  return deciding;
}

/** Takes back or does again, and shows what it was about. */
async function turn(what, said) {
  const id = state.view[what].entry;
  if (!(await decide({ do: what }, said, { stay: true })) || !id) return;
  const key = [`doubt:${id}`, `entry:${id}`].find((k, n) => n || queue().includes(k));
  if (item(key)) go(key);
}

const DECIDES = ['accept', 'strike', 'cannot', 'choice', 'undo', 'redo', 'next', 'before'];
let deciding = Promise.resolve();

async function openLog(id) {
  desk.leave();
  live.leave();
  try {
    frame();
    await load(id);
  } catch (e) {
    state.view = null;
    main.replaceChildren(h('p', { role: 'alert' }, e.message));
    return;
  }
  document.title = `${state.view.name} – tugback`;
  sessionStorage.setItem('log', id);
  player.open(id).catch((e) => tell(e.message));
}

async function openDesk(failed) {
  live.leave();
  state.view = null;
  sessionStorage.removeItem('log');
  document.title = 'Desk – tugback';
  document.getElementById('player').hidden = true;
  document.getElementById('sound')?.pause();
  document.body.dataset.tab = 'desk';
  header();
  await desk.render(main, openLog, openLive, failed);
}

/** What is being recorded; afterwards its log. */
async function openLive() {
  desk.leave();
  document.title = 'Recording – tugback';
  document.body.dataset.tab = 'live';
  header(true);
  await live.render(main, (id, failed) => (id ? openLog(id) : openDesk(failed)));
}

async function begin() {
  applySettings();
  let known = false;
  try { known = await enter(); } catch (e) { main.replaceChildren(h('p', { role: 'alert' }, e.message)); return; }
  if (!known) {
    main.replaceChildren(h('h1', {}, 'tugback'), h('p', { role: 'alert' }, 'Open this page with the address that the program printed.'));
    return;
  }
  player.build(document.getElementById('player'));
  onChange(draw);
  wide.addEventListener('change', () => draw({ at: true, log: true }));
  listen((id, n) => Promise.resolve(act(id, n)).catch((e) => tell(e.message)));
  setInterval(watch, 5000);
  // Says that somebody is here; without it the program closes by itself.
  let used = true;
  for (const event of ['pointerdown', 'keydown']) document.addEventListener(event, () => { used = true; }, { passive: true });
  setInterval(() => { if (used || !document.getElementById('sound').paused) { used = false; post('/api/ping').catch(() => {}); } }, 60000);
  try {
    setForms(await get('/api/forms'));
    const last = sessionStorage.getItem('log');
    if (me.desk && (await get('/api/live')).is === 'on') await openLive();
    else if (me.desk && !last) await openDesk();
    else await openLog(last ?? (await get('/api/desk')).items[0].id);
  } catch (e) {
    main.replaceChildren(h('p', { role: 'alert' }, e.message));
  }
}

begin();
