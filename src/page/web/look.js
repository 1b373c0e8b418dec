// What needs eyes, worst first: one place at a time, large, with all that can be decided about it.

import { fill, h } from '/assets/dom.js';
import { correct, make } from '/assets/editor.js';
import { hint } from '/assets/keys.js';
import { play } from '/assets/player.js';
import { decide, entry, go, item, queue, span, state, step, unseen } from '/assets/state.js';
import {
  canalText, carried, clock, doubtsOf, fieldName, isOpen, kindName, many, place, reviewText, statusText, summary, valueText, whatText,
} from '/assets/words.js';

/** A button with its key. */
function act(name, label, run, props = {}) {
  // The second click of a double one would fall on what took the place of the first.
  return h('button', { ...props, data: { act: name }, on: { click: (e) => e.detail < 2 && run() } },
    h('span', {}, label), hint(name) && h('kbd', { 'aria-hidden': 'true' }, hint(name)));
}

const CANNOT = 'Cannot tell';

// ---- what can be done, by button and by key alike

const onEntry = (run) => () => { const of = item(); if (of?.what === 'entry') return run(of.entry); return undefined; };

export const accept = () => {
  const of = item();
  if (of?.what === 'entry') {
    if (of.entry.review === 'struck' && of.entry.doubts.length) return decide({ do: 'strike', entry: of.entry.id }, 'It stays struck.');
    // Settled already: on to the next.
    if (!isOpen(of.entry)) return step(1);
    return decide({ do: 'accept', entries: [of.entry.id] }, 'Accepted.').catch(() => {});
  }
  if (of?.what === 'finding') return decide({ do: 'looked-at', finding: of.finding.id }, 'Looked at.');
  if (of?.what === 'speech') return decide({ do: 'looked-at', finding: `speech/${of.n}` }, 'Looked at.');
  if (of?.what === 'rest') return decide({ do: 'accept', entries: unseen() }, `${many(of.entries.length, 'entry', 'entries')} accepted.`);
  return undefined;
};
export const strike = onEntry((e) => (e.review === 'struck'
  ? decide({ do: 'restore', entry: e.id }, 'Restored.', { stay: true })
  : decide({ do: 'strike', entry: e.id }, 'Struck.')));
export const cannot = onEntry((e) => decide({ do: 'cannot-tell', entry: e.id, field: e.doubts[0]?.field ?? null }, 'Marked: could not be told.')
  .catch(() => {}));
export const correctIt = () => {
  const of = item();
  if (of?.what === 'entry') return correct(of.entry, of.entry.doubts[0]?.field);
  if (of?.what === 'finding' && entry(of.finding.entries[0])) return correct(entry(of.finding.entries[0]));
  return undefined;
};
export const makeIt = () => {
  const of = item();
  if (of?.what === 'speech') return make({ unplaced: of.n }, of.speech);
  if (of?.what === 'entry') return make({ entry: of.entry.id }, of.entry);
  return undefined;
};
let chosen = [];
/** The n-th of the alternatives that are shown. */
export function choose(n) {
  return chosen[n - 1]?.();
}

// ---- what is shown

export function render(pane) {
  chosen = [];
  const keys = queue();
  const of = item();
  const card = h('article', { class: 'card', 'aria-labelledby': 'card-title' });
  if (of?.what === 'entry') card.append(...entryCard(of.entry, keys));
  else if (of?.what === 'finding') card.append(...findingCard(of.finding, keys));
  else if (of?.what === 'speech') card.append(...speechCard(of, keys));
  else if (of?.what === 'rest') card.append(...restCard(of.entries));
  else card.append(...nothingLeft());
  fill(pane, [h('h1', { class: 'hidden' }, 'To look at'), card, list(keys)], '#card-title');
}

function heading(kicker, title, ...more) {
  return [h('p', { class: 'kicker' }, kicker), h('h2', { id: 'card-title', tabindex: -1 }, title, ...more)];
}

function where(keys, what) {
  const n = keys.indexOf(state.at);
  return n < 0 ? what : `${what} · ${n + 1} of ${keys.length}`;
}

function moving() {
  return [act('before', 'Before', () => step(-1), { class: 'plain' }), act('next', 'Next', () => step(1), { class: 'plain' })];
}

function heard(e) {
  const words = e.said?.trim() ? `“${e.said.trim()}”` : 'Something was said that could not be made out.';
  return h('div', { class: 'heard' },
    act('play', 'Play', () => play(span()), { class: 'play' }),
    h('blockquote', {}, words), h('span', { class: 'time' }, clock(e.from_s)));
}

function entryCard(e, keys) {
  const [sign, word] = reviewText(e);
  // Tooth and canal stand above; they are asked for here only where they are doubtful.
  const fields = ['tooth', 'canal'].filter((f) => doubtsOf(e, f).length).map((f) => [f, e[f]]);
  const values = [...fields, ...Object.entries(e.values).filter(([f]) => !(e.kind === 'tooth' && f === 'tooth'))];
  const doubtful = values.filter(([f]) => doubtsOf(e, f).length);
  const shown = new Set(values.map(([f]) => f));
  const lost = e.doubts.filter((d) => d.field !== 'status' && !shown.has(d.field));
  const status = statusText(e.status);
  const struck = e.review === 'struck';
  return [
    ...heading(where(keys, e.doubts.length && !e.cannot_tell ? 'Doubt' : 'Entry'), kindName(e.kind), status && h('span', { class: 'badge' }, status)),
    h('p', { class: 'place' }, placeOf(e), ' ', h('span', { class: 'review' }, `${sign} ${word}`)),
    heard(e),
    ...doubtsOf(e, 'status').map((d) => doubt(e, 'status', e.status, d)),
    ...doubtful.map(([f, v]) => h('section', { class: 'doubtful', 'aria-label': `Doubt: ${fieldName(f)}` },
      value(f, v, e), ...doubtsOf(e, f).map((d, i) => doubt(e, f, v, d, i === 0)))),
    ...lost.map((d) => h('section', { class: 'doubtful' }, doubt(e, d.field, e.values[d.field] ?? null, d, d.field !== 'entry'))),
    h('dl', { class: 'values' }, values.filter(([f]) => !doubtsOf(e, f).length).map(([f, v]) => value(f, v, e))),
    h('div', { class: 'acts' },
      act('accept', struck ? 'Leave it struck' : 'Accept', accept, { class: 'first' }),
      !struck && act('correct', 'Correct', correctIt),
      act('strike', struck ? 'Restore' : 'Strike', strike),
      !struck && act('cannot', CANNOT, cannot)),
    h('div', { class: 'acts quieter' }, moving(), act('make', 'Another entry from this', makeIt, { class: 'plain' })),
  ];
}

function placeOf(e) {
  const part = (field, text) => (text ? h('span', { class: carried(e, field) ? 'carried' : '' }, text,
    carried(e, field) && h('span', { class: 'small' }, ' carried on')) : null);
  return [part('tooth', e.tooth ? `Tooth ${e.tooth}` : 'No tooth named'), e.canal && ' · ', part('canal', canalText(e.canal))];
}

/** One value, large, with its unit. */
function value(field, v, e) {
  const was = field in (e.heard ?? {}) ? h('span', { class: 'small' }, ` heard: ${valueText(field, e.heard[field])}`) : null;
  const name = h('dt', {}, fieldName(field));
  const it = h('dd', { class: typeof v === 'number' ? 'number' : '' }, valueText(field, v), was,
    carried(e, field) && h('span', { class: 'small' }, ' carried on'));
  return doubtsOf(e, field).length ? h('dl', { class: 'values' }, h('div', {}, name, it)) : h('div', {}, name, it);
}

/** Why it is doubtful, and what it may have been: one button each, the value as it stands first. */
function doubt(e, field, v, d, ask = true) {
  const choices = [v, ...(d.alternatives ?? [])].filter((c, i, all) => c !== null && all.findIndex((o) => String(o) === String(c)) === i);
  const plainText = (c) => (Array.isArray(c) ? c.join(', ') : String(c));
  const take = (c) => decide({ do: 'correct', entry: e.id, field, to: plainText(c) }, `${fieldName(field)}: ${valueText(field, c)}.`).catch(() => {});
  if (ask && field !== 'entry') chosen.push(...choices.map((c) => () => take(c)));
  return [
    h('p', { class: 'why' }, h('span', { class: 'query', 'aria-hidden': 'true' }, '?'), ' ', d.reason),
    ask && field !== 'entry' && h('div', { class: 'choices', role: 'group', 'aria-label': `${fieldName(field)}: what was said` },
      choices.map((c, i) => h('button', {
        data: { choice: '', act: `choice-${field}-${i}` },
        on: { click: (ev) => ev.detail < 2 && take(c) },
      }, valueText(field, c), c === v && h('span', { class: 'small' }, ' as written'))),
      h('button', { class: 'plain', data: { act: `other-${field}` }, on: { click: () => correct(e, field) } }, 'Other …')),
  ];
}

function findingCard(f, keys) {
  const gap = !f.entries.length;
  const words = { S: 'seen in the source', P: 'seen in part', D: 'computed', M: 'from memory' }[f.evidence] ?? f.evidence;
  return [
    ...heading(where(keys, gap ? 'Not found in the log' : 'Finding'), f.sentence),
    h('p', { class: 'quiet' }, `Rests on: ${f.source} (${words}). Something to look at again, no advice.`),
    h('ul', { class: 'rows' }, f.entries.map((id) => entry(id)).filter(Boolean).map((e) => h('li', {}, row(e)))),
    h('div', { class: 'acts' },
      act('accept', 'Looked at, stays so', accept, { class: 'first' }),
      !gap && act('play', 'Play', () => play(span())),
      !gap && act('correct', 'Correct', correctIt)),
    h('div', { class: 'acts quieter' }, moving()),
  ];
}

function speechCard({ speech, n }, keys) {
  return [
    ...heading(where(keys, 'Speech without a place'), speech.why ? `${speech.why.charAt(0).toUpperCase()}${speech.why.slice(1)}` : 'No entry was made of this'),
    heard(speech),
    speech.entries && h('p', {}, `Entries made from it: ${speech.entries.join(', ')}.`),
    h('div', { class: 'acts' },
      act('make', 'Make an entry', () => make({ unplaced: n }, speech)),
      act('accept', 'No entry, looked at', accept, { class: 'first' })),
    h('div', { class: 'acts quieter' }, moving()),
  ];
}

/** Speech of which no entry was made, in grey: whoever reads through reads all that was said. */
function speechRow(u, n) {
  return h('button', { class: 'line aside', data: { act: `row-u${n}` }, on: { click: () => go(`speech:${n}`) } },
    h('span', { class: 'time' }, clock(u.from_s)), h('span', { class: 'what' }, 'no entry'), h('span', { class: 'says' }, u.said.trim() ? `“${u.said.trim()}”` : 'could not be made out'));
}

/** What nobody doubts and nobody has seen: read through, accepted at once. */
function restCard(entries) {
  const rows = [...entries.map((e) => [e.from_s, () => row(e)]),
    ...state.view.unplaced.map((u, n) => [u.from_s, () => speechRow(u, n)]).filter((_, n) => !state.view.unplaced[n].entries)];
  rows.sort((a, b) => a[0] - b[0]);
  return [
    ...heading('Read through', `${many(entries.length, 'entry', 'entries')} that nobody doubts`),
    h('p', { class: 'quiet' }, 'Compare with what you remember; choose one to hear or correct it. In grey: speech of which no entry was made.'),
    h('ul', { class: 'rows' }, rows.map(([, build]) => h('li', {}, build()))),
    h('div', { class: 'acts stick' },
      act('accept', `I have read these ${entries.length}: accept`, accept, { class: 'first' }), moving()),
  ];
}

/** An entry in one line, which opens it. */
export function row(e) {
  const [sign, word] = reviewText(e);
  return h('button', { class: `line ${e.review}`, data: { act: `row-${e.id}` }, on: { click: () => go(`entry:${e.id}`) } },
    h('span', { class: 'time' }, clock(e.from_s)), h('span', { class: 'what' }, whatText(e)),
    h('span', { class: 'says' }, summary(e) || `“${e.said}”`),
    h('span', { class: 'at' }, [e.tooth, canalText(e.canal)].filter(Boolean).join(' ')),
    h('span', { class: 'sign', title: word }, h('span', { 'aria-hidden': 'true' }, sign), h('span', { class: 'hidden' }, word)));
}

function nothingLeft() {
  const signed = state.view.state.is === 'signed';
  return [
    ...heading('To look at', signed ? 'This log is signed' : 'Nothing is left to look at'),
    h('p', {}, signed ? 'A change would be an amendment, with a reason.' : 'All entries are seen. It can be signed.'),
    h('div', { class: 'acts' }, act('sign', signed ? 'The signature, and handing on' : 'Sign', () => document.querySelector('[data-act="sign"].tab').click(), { class: 'first' })),
  ];
}

/** The list of all that is left, so that one sees the end. */
function list(keys) {
  if (keys.length < 2) return null;
  const line = (key) => {
    const of = item(key);
    const text = {
      entry: () => [h('span', { class: 'time' }, clock(of.entry.from_s)), ` ${whatText(of.entry)}: ${of.entry.doubts[0]?.reason ?? ''}`],
      finding: () => of.finding.sentence,
      speech: () => [h('span', { class: 'time' }, clock(of.speech.from_s)), ' speech without a place'],
      rest: () => `${of.entries.length} that nobody doubts: read through`,
    }[of.what]();
    const sign = { entry: '?', finding: of.finding?.entries.length ? '!' : '○', speech: '…', rest: '≡' }[of.what];
    return h('li', {}, h('button', { class: 'line todo', 'aria-current': key === state.at ? 'true' : null, data: { act: `todo-${key}` }, on: { click: () => go(key) } },
      h('span', { class: 'query', 'aria-hidden': 'true' }, sign), h('span', {}, text)));
  };
  return h('nav', { 'aria-label': 'What is left', class: 'todos' }, h('h3', {}, `Left: ${keys.length}`), h('ol', {}, keys.map(line)));
}

export { isOpen, place };
