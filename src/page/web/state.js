// What is on the page: the log, the place that is looked at, the view. Every decision goes to the program first and is shown
// when it is written.

import { get, post, me, Refused } from '/assets/api.js';
import { dialog, h, tell } from '/assets/dom.js';
import { many } from '/assets/words.js';

export const state = {
  /** The log as the program sent it; null: none is open. */
  view: null,
  /** "doubt:e7", "finding:…", "speech:3", "entry:e9", "rest". */
  at: null,
  tab: 'look',
  /** A decision that could not be saved: what to try again. */
  pending: null,
  sound: { state: 'none', sentence: '' },
};

const listeners = [];
export const onChange = (run) => listeners.push(run);
export function changed(what = {}) {
  for (const run of listeners) run(what);
}

export const keyOf = (open) =>
  ({ doubt: () => `doubt:${open.entry}`, finding: () => `finding:${open.id}`, speech: () => `speech:${open.unplaced}` }[open.is]?.());

/** What needs eyes, worst first, and last the reading list of what nobody doubts. */
export function queue(view = state.view) {
  const keys = view.worst.filter((o) => o.is !== 'unseen').map(keyOf);
  if (view.worst.some((o) => o.is === 'unseen')) keys.push('rest');
  return keys;
}

export const unseen = () => state.view.worst.filter((o) => o.is === 'unseen').map((o) => o.entry);
export const entry = (id) => state.view.entries.find((e) => e.id === id);

/** What a key stands for. */
export function item(key = state.at) {
  if (!key) return null;
  const [what, ...rest] = key.split(':');
  const id = rest.join(':');
  if (what === 'doubt' || what === 'entry') return entry(id) ? { what: 'entry', entry: entry(id) } : null;
  if (what === 'finding') {
    const finding = state.view.findings.find((f) => f.id === id);
    return finding ? { what, finding } : null;
  }
  if (what === 'speech') return state.view.unplaced[id] ? { what, n: Number(id), speech: state.view.unplaced[id] } : null;
  return what === 'rest' ? { what, entries: unseen().map(entry) } : null;
}

/** From when to when the words of an item are; null: nothing to hear. */
export function span(of = item()) {
  if (of?.what === 'entry') return [of.entry.from_s, of.entry.to_s];
  if (of?.what === 'speech') return [of.speech.from_s, of.speech.to_s];
  if (of?.what === 'finding') {
    const entries = of.finding.entries.map(entry).filter(Boolean);
    return entries.length ? [entries[0].from_s, entries[0].to_s] : null;
  }
  return null;
}

export function go(key) {
  state.at = key;
  changed({ at: true });
}

/** Goes on in the list; from a place outside of it to its start. */
export function step(by) {
  const keys = queue();
  if (!keys.length) return go(null);
  const here = keys.indexOf(state.at);
  const next = here < 0 ? (by > 0 ? 0 : keys.length - 1) : (here + by + keys.length) % keys.length;
  go(keys[next]);
}

/** Takes over what the program sent; where the place that was looked at is settled, goes to the one that took its turn. */
function take(view, { stay = false } = {}) {
  // Told when a log is opened, and true for as long as it is.
  if (state.view?.id === view.id) view.broken ??= state.view.broken;
  const before = state.view ? queue() : [];
  const here = before.indexOf(state.at);
  state.view = view;
  const keys = queue();
  if (!stay && state.at && here < 0) {
    // Opened from the list that is read through, or from the log: back to the list.
    if (keys.includes('rest')) state.at = 'rest';
  } else if (!stay && !keys.includes(state.at)) {
    // The first of those that came after it and are still there.
    const after = here < 0 ? keys : before.slice(here + 1).filter((k) => keys.includes(k));
    state.at = after[0] ?? keys[0] ?? null;
  }
  changed({ log: true, at: true });
}

export async function load(id) {
  const view = await get(`/api/log/${id}`);
  if (state.view?.id !== id) state.at = null;
  take(view);
}

async function askReason() {
  return dialog('This log is signed', (done) =>
    h('form', { method: 'dialog', on: { submit: (e) => { e.preventDefault(); done(e.target.elements.reason.value); } } },
      h('p', {}, 'The signed state stays readable. A change is an amendment, and is kept with its reason.'),
      h('label', { for: 'reason' }, 'Reason for the change'),
      h('input', { id: 'reason', name: 'reason', required: true, maxlength: 500, autocomplete: 'off' }),
      h('div', { class: 'row end' },
        h('button', { type: 'button', on: { click: () => done(null) } }, 'Leave it as it is'),
        h('button', { type: 'submit', class: 'first' }, 'Amend'))));
}

/**
 * Sends a decision. `said`: what is announced when it is saved.
 * @returns {Promise<boolean>} whether it is saved
 */
export async function decide(decision, said, { stay = false, reason } = {}) {
  const { view } = state;
  const free = ['undo', 'redo', 'sign'].includes(decision.do);
  if (view.state.is !== 'draft' && !free && !reason) {
    reason = await askReason();
    if (!reason?.trim()) return false;
  }
  const body = { seen: view.revision, who: localStorage.getItem('who') ?? me.who, decision, reason: reason ?? null };
  const from = state.at;
  try {
    const now = await post(`/api/log/${view.id}/decide`, body);
    state.pending = null;
    // Who has gone elsewhere meanwhile is left there.
    take(now, { stay: stay || state.at !== from });
    const left = now.worst.filter((o) => o.is !== 'unseen').length;
    tell(decision.do === 'sign' ? said : `${said} ${left ? `${many(left, 'thing', 'things')} left to look at.` : 'Nothing doubtful is left.'}`);
    return true;
  } catch (e) {
    if (!(e instanceof Refused)) throw e;
    if (e.status === 422) {
      tell(e.message);
      throw e;
    }
    // Not saved: kept here, so that the person can try again after having looked.
    state.pending = { decision, said, reason, sentence: e.message };
    if (e.status === 409) take(await get(`/api/log/${view.id}`), { stay: true });
    else changed({ pending: true });
    tell(e.message);
    return false;
  }
}

export async function again() {
  const { decision, said, reason } = state.pending;
  state.pending = null;
  await decide(decision, said, { reason }).catch(() => changed({ pending: true }));
}

export function forget() {
  state.pending = null;
  changed({ pending: true });
}

/** Looks whether somebody else wrote. */
export async function watch() {
  if (!state.view || document.hidden) return;
  try {
    const { revision } = await get(`/api/log/${state.view.id}/revision`);
    if (revision !== state.view.revision) {
      take(await get(`/api/log/${state.view.id}`), { stay: true });
      tell('The log was changed elsewhere; you see it as it is now.');
    }
  } catch { /* told at the next decision */ }
}
