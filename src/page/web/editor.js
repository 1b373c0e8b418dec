// The forms in which a person corrects an entry or makes one: the fields of the kind, with their units and words.

import { Refused } from '/assets/api.js';
import { dialog, h } from '/assets/dom.js';
import { play } from '/assets/player.js';
import { decide, entry, item, state } from '/assets/state.js';
import { canals, clock, fieldName, fieldOf, kindName, kindOf, kinds, unitOf, valueText, whatText } from '/assets/words.js';

const STATUSES = [['done', 'done'], ['planned', 'planned'], ['not-done', 'not done'], ['conditional', 'only if'], ['general', 'as a rule']];

/** As it is typed: plain numbers, canals with commas, words as in the log. */
const typed = (v) => (v === null || v === undefined ? '' : Array.isArray(v) ? v.join(', ') : String(v));

let count = 0;
/** A labelled input of one field, with the words that the kind knows and the usual range. */
function input(kind, name, value) {
  count += 1;
  const id = `field-${count}`;
  const field = fieldOf(kind, name);
  const number = field?.number ?? false;
  const words = name === 'canal' ? [...canals(), 'all'] : (field?.words ?? []).map(([w]) => w);
  const usual = field?.usual;
  const unusual = h('p', { class: 'why', id: `${id}-note`, role: 'status' });
  const control = h('input', {
    id, name, autocomplete: 'off', maxlength: 500, inputmode: number ? 'decimal' : name === 'tooth' ? 'numeric' : null,
    list: words.length ? `${id}-words` : null, '.value': typed(value), 'aria-describedby': `${id}-note`,
    on: { input: () => {
      const n = Number(control.value);
      const outside = usual && control.value.trim() && Number.isFinite(n) && (n < usual[0] || n > usual[1]);
      unusual.textContent = outside ? `Usual are ${usual[0]} to ${usual[1]}${unitOf(name) ? ` ${unitOf(name)}` : ''}: look again.` : '';
    } },
  });
  return h('div', { class: 'field' },
    h('label', { for: id }, fieldName(name), unitOf(name) && h('span', { class: 'unit' }, ` in ${unitOf(name)}`)),
    control, words.length > 0 && h('datalist', { id: `${id}-words` }, words.map((w) => h('option', { value: w }))), unusual);
}

function statusInput(value) {
  return h('div', { class: 'field' }, h('label', { for: 'field-status' }, 'status'),
    h('select', { id: 'field-status', name: 'status' }, STATUSES.map(([v, t]) => h('option', { value: v, selected: v === value }, t))));
}

function words(of) {
  return h('div', { class: 'heard' },
    h('button', { type: 'button', class: 'play', on: { click: () => play([of.from_s, of.to_s]) } }, 'Play'),
    h('blockquote', {}, of.said?.trim() ? `“${of.said.trim()}”` : 'could not be made out'), h('span', { class: 'time' }, clock(of.from_s)));
}

function buttons(done, label) {
  return h('div', { class: 'row end' },
    h('button', { type: 'button', on: { click: () => done(null) } }, 'Cancel'),
    h('button', { type: 'submit', class: 'first' }, label));
}

/** A form that stays open where the program refuses what was typed. */
function form(done, send, ...children) {
  const wrong = h('p', { class: 'wrong', role: 'alert' });
  return h('form', { method: 'dialog', on: { submit: async (e) => {
    e.preventDefault();
    try {
      done(await send(e.target.elements));
    } catch (refused) {
      if (!(refused instanceof Refused)) throw refused;
      wrong.textContent = refused.message;
    }
  } } }, ...children.slice(0, -1), wrong, children.at(-1));
}

/** Corrects an entry; `focus`: the field that is asked for. */
export function correct(e, focus) {
  const before = { tooth: typed(e.tooth), canal: typed(e.canal), status: e.status };
  for (const [f, v] of Object.entries(e.values)) before[f] = typed(v);
  const others = (kindOf(e.kind)?.fields ?? []).map((f) => f.name).filter((f) => !(f in before));
  const fields = h('div', { class: 'fields' },
    Object.keys(e.values).map((f) => input(e.kind, f, e.values[f])),
    input(e.kind, 'tooth', e.tooth), input(e.kind, 'canal', e.canal), statusInput(e.status));
  const add = others.length > 0 && h('div', { class: 'field' },
    h('label', { for: 'add-field' }, 'add what was said as well'),
    h('select', { id: 'add-field', on: { change: (ev) => {
      const name = ev.target.value;
      if (!name) return;
      before[name] = '';
      const made = input(e.kind, name, '');
      fields.append(made);
      ev.target.querySelector(`[value="${CSS.escape(name)}"]`).remove();
      ev.target.value = '';
      made.querySelector('input').focus();
    } } }, h('option', { value: '' }, 'choose …'), others.map((f) => h('option', { value: f }, fieldName(f)))));
  const shown = dialog(`Correct: ${whatText(e)}`, (done) => form(done, async (elements) => {
    const changed = Object.keys(before).filter((f) => elements[f] && elements[f].value.trim() !== before[f]);
    if (!changed.length) return true;
    const to = Object.fromEntries(changed.map((f) => [f, elements[f].value.trim() || null]));
    const said = changed.map((f) => `${fieldName(f)} ${to[f] === null ? 'left out' : valueText(f, elements[f].inputMode === 'decimal' ? Number(to[f]) : to[f])}`);
    return decide({ do: 'revise', entry: e.id, fields: to }, `Corrected: ${said.join(', ')}.`, { stay: Boolean(item()?.finding) });
  }, words(e), fields, add, buttons(done, 'Save')), { wide: true });
  const first = focus && fields.querySelector(`[name="${CSS.escape(focus)}"]`);
  (first || fields.querySelector('input'))?.focus();
  (first || fields.querySelector('input'))?.select?.();
  return shown;
}

/** Makes an entry from words: speech without a place, or those of another entry. */
export function make(from, of) {
  // The tooth and canal that were spoken of just before are proposed, for the person to confirm.
  const before = state.view.entries.filter((e) => e.from_s <= of.from_s && e.review !== 'struck').at(-1);
  const near = from.entry ? entry(from.entry) : before;
  const fields = h('div', { class: 'fields' });
  const kind = h('select', { id: 'make-kind', name: 'kind', on: { change: () => show() } },
    kinds().map((k) => h('option', { value: k.kind, selected: k.kind === (near?.kind ?? 'remark') }, kindName(k.kind))));
  const show = () => fields.replaceChildren(...(kindOf(kind.value)?.fields ?? []).map((f) => input(kind.value, f.name, f.name === 'text' ? of.said : '')));
  kind.value = from.entry ? near.kind : 'remark';
  show();
  const shown = dialog('Make an entry', (done) => form(done, async (elements) => {
    const values = {};
    for (const f of kindOf(kind.value).fields) if (elements[f.name]?.value.trim()) values[f.name] = elements[f.name].value.trim();
    const decision = {
      do: 'make', from, kind: kind.value, status: elements.status.value, tooth: elements.tooth.value.trim() || null,
      canal: elements.canal.value.trim() || null, values,
    };
    return decide(decision, `Made: ${kindName(kind.value)}.`);
  }, words(of),
  h('div', { class: 'fields' }, h('div', { class: 'field' }, h('label', { for: 'make-kind' }, 'kind'), kind),
    input(null, 'tooth', near?.tooth), input(null, 'canal', near?.canal), statusInput('done')),
  fields, buttons(done, 'Make')), { wide: true });
  kind.focus();
  return shown;
}
