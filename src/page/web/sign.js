// Signing, what was signed, whether all still belongs together, and handing on.

import { get, media } from '/assets/api.js';
import { dialog, h, tell } from '/assets/dom.js';
import { decide, entry, go, state } from '/assets/state.js';
import { canalText, clock, many, summary, whatText, when } from '/assets/words.js';

const ROLES = ['treating dentist', 'dental assistant', 'dental nurse', 'supervising dentist', 'student'];

export function render(pane) {
  const { view } = state;
  const is = view.state.is;
  pane.replaceChildren(
    h('h1', {}, is === 'signed' ? 'Signed' : is === 'amended' ? 'Amended after signing' : 'Sign'),
    is === 'draft' ? '' : standing(view),
    is === 'signed' ? '' : form(view, pane),
    h('section', {}, h('h2', {}, 'Hand on'),
      is === 'draft' ? h('p', { class: 'quiet' }, 'Not signed yet: what is handed on says that it is a draft.') : '',
      h('div', { class: 'row' }, view.exports.map((f) => h('a', { class: 'button', href: media(`/export/${f.as}`, `&log=${view.id}`), download: '' }, f.label)))),
    h('section', {}, h('h2', {}, 'Does it still belong together?'),
      h('p', { class: 'quiet' }, 'Compares the log with its history, its signatures and its source.', state.sound.fits === null ? ` ${state.sound.sentence}` : ''),
      h('button', { data: { act: 'verify' }, on: { click: () => verify(pane) } }, 'Compare'), h('div', { id: 'verified', role: 'status' })));
}

function standing(view) {
  const last = view.state.by;
  const not = (s) => (s.not_verified?.entries?.length ?? 0) + (s.not_verified?.findings?.length ?? 0);
  return h('section', { class: 'signature' },
    view.signatures.map((s, i) => h('p', {}, h('b', {}, `${s.name}, ${s.role}`), ` ${when(s.at)}`,
      not(s) ? ` · ${not(s)} as not verified` : '',
      ' ', h('button', { class: 'plain', on: { click: () => showSigned(i + 1) } }, 'Show what was signed'))),
    view.state.is === 'amended' && h('p', {}, h('b', {}, `${many(view.state.changes, 'change', 'changes')} since.`), ' They are in the history with their reasons, and not signed yet.'),
    h('p', { class: 'small sum' }, `Checksum of the signed content: ${last.content_sha256}`));
}

function form(view, pane) {
  const { entries = [], findings = [] } = view.rest;
  const left = entries.length + findings.length;
  const wrong = h('p', { class: 'wrong', role: 'alert' });
  const send = async (e) => {
    e.preventDefault();
    const f = e.target.elements;
    const name = f.name.value.trim();
    if (left && !f.rest.checked) {
      wrong.textContent = `${many(left, 'place needs', 'places need')} eyes: look at them, or accept them as not verified.`;
      f.rest.focus();
      return;
    }
    localStorage.setItem('who', name);
    localStorage.setItem('role', f.role.value.trim());
    try {
      if (f.reference.value.trim() !== (view.case.reference ?? '')) {
        await decide({ do: 'reference', to: f.reference.value.trim() || null }, 'Reference kept.', { stay: true, reason: 'reference of the practice' });
      }
      const ok = await decide({ do: 'sign', name, role: f.role.value.trim(), not_verified: left > 0 }, 'Signed.');
      if (ok) pane.querySelector('h1').focus?.();
    } catch (refused) {
      wrong.textContent = refused.message;
    }
  };
  const text = (name, label, value, more = {}) => h('div', { class: 'field' }, h('label', { for: `sign-${name}` }, label),
    h('input', { id: `sign-${name}`, name, '.value': value, maxlength: 200, autocomplete: 'off', ...more }));
  return h('form', { class: 'sign', on: { submit: send } },
    h('p', {}, 'By signing you say that this log says what was done. It stays a record from dictation; local rules and licensed practice come first.'),
    left > 0 && h('details', { open: left <= 12 }, h('summary', {}, `Not verified: ${many(left, 'place', 'places')}`),
      h('ul', { class: 'rest' },
        entries.map((id) => entry(id)).filter(Boolean).map((e) => h('li', {}, h('button', { type: 'button', class: 'line', on: { click: () => go(`entry:${e.id}`) } },
          h('span', { class: 'time' }, clock(e.from_s)), ' ', `${whatText(e)}: ${summary(e) || `“${e.said}”`}`))),
        findings.map((id) => h('li', {}, view.findings.find((f) => f.id === id)?.sentence ?? 'speech that could not be made out')))),
    h('div', { class: 'fields' },
      text('name', 'Name', localStorage.getItem('who') ?? '', { required: true }),
      text('role', 'Role', localStorage.getItem('role') ?? '', { required: true, list: 'roles' }),
      text('reference', 'Reference of the practice (optional)', view.case.reference ?? '')),
    h('datalist', { id: 'roles' }, ROLES.map((r) => h('option', { value: r }))),
    left > 0 && h('label', { class: 'check' }, h('input', { type: 'checkbox', name: 'rest' }), h('span', {}, `I sign with ${many(left, 'place', 'places')} marked as not verified`)),
    wrong,
    h('button', { type: 'submit', class: 'first', data: { act: 'do-sign' } }, view.state.is === 'amended' ? 'Sign again' : 'Sign'));
}

async function verify(pane) {
  const lines = await get(`/api/log/${state.view.id}/verify`);
  const mark = { yes: '✓ fits', no: '✕ does not fit', unknown: '– not compared' };
  pane.querySelector('#verified').replaceChildren(h('ul', { class: 'verify' }, lines.map((l) => h('li', { class: l.fits },
    h('b', {}, `${l.what}: ${mark[l.fits]}`), h('br'), l.sentence))));
}

/** The log as it was signed, to read. */
async function showSigned(n) {
  let then;
  try { then = await get(`/api/log/${state.view.id}/signed/${n}`); } catch (e) { return tell(e.message); }
  return dialog('What was signed', (done) => h('div', {},
    h('div', { class: 'scroll', tabindex: 0, role: 'group', 'aria-label': 'The signed log' }, h('table', {},
      h('thead', {}, h('tr', {}, ['Time', 'Tooth', 'Canal', 'What', 'Values'].map((t) => h('th', { scope: 'col' }, t)))),
      h('tbody', {}, then.entries.map((e) => h('tr', { class: e.review }, h('td', {}, clock(e.from_s)), h('td', {}, e.tooth ?? ''),
        h('td', {}, canalText(e.canal)), h('td', {}, whatText(e)),
        h('td', {}, summary(e) || `“${e.said}”`, e.doubts.length || e.review === 'unseen' ? ' [not verified]' : '')))))),
    h('div', { class: 'row end' }, h('button', { class: 'first', on: { click: () => done(null) } }, 'Close'))), { wide: true });
}
