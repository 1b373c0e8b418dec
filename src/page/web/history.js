// Every decision: who, when, what, from, to, why. What was taken back stays to be seen.

import { h } from '/assets/dom.js';
import { state } from '/assets/state.js';
import { fieldName, kindName, valueText, when } from '/assets/words.js';

const WHAT = {
  accept: 'accepted', correct: 'corrected', confirm: 'confirmed', revise: 'corrected', strike: 'struck', restore: 'restored',
  'cannot-tell': 'could not be told', make: 'made', 'looked-at': 'looked at', reference: 'reference', undo: 'taken back', redo: 'done again', sign: 'signed',
};

function line(c) {
  const field = c.field.replace(/^values\./, '');
  const name = c.entry ? `${c.entry} ` : '';
  if (c.field === 'signature') return `${c.to?.name ?? ''}, ${c.to?.role ?? ''}`;
  if (c.field === 'entry') return `${name}${kindName(c.to?.kind ?? c.from?.kind ?? 'entry')}`;
  if (c.field.startsWith('looked_at.')) return c.field.slice(10);
  if (['review', 'doubts', 'cannot_tell'].includes(c.field)) return `${name}${kindOf(c.entry)}`;
  return `${name}${kindOf(c.entry)} ${fieldName(field)}: ${valueText(field, c.from)} → ${valueText(field, c.to)}`;
}

const kindOf = (id) => { const e = state.view.entries.find((x) => x.id === id); return e ? kindName(e.kind) : ''; };

export function render(pane) {
  const acts = [];
  for (const c of state.view.history) {
    const last = acts.at(-1);
    if (last && c.act !== null && last[0].act === c.act) last.push(c);
    else acts.push([c]);
  }
  acts.reverse();
  pane.replaceChildren(
    h('h1', {}, 'History'),
    acts.length ? '' : h('p', {}, 'Nobody has decided anything yet.'),
    h('ol', { class: 'acts-list' }, acts.map(([first, ...more]) => h('li', { class: first.field === 'signature' ? 'signed' : '' },
      h('p', {}, h('b', {}, WHAT[first.what] ?? first.what ?? 'changed'), ' ', h('span', { class: 'quiet' }, `${first.who}, ${when(first.at)}`)),
      h('p', {}, line(first), more.length > 4 ? ` and ${more.length} more` : more.map((c) => [h('br'), line(c)])),
      first.reason && h('p', {}, `Reason: ${first.reason}`)))));
}
