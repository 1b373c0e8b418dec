// The picture of each canal, as the program draws it. The picture says the same in words.

import { media } from '/assets/api.js';
import { h } from '/assets/dom.js';
import { state } from '/assets/state.js';

let shown = '';

export function render(pane) {
  const { view } = state;
  const name = `${view.id} ${view.revision}`;
  if (shown === name && pane.childElementCount) return;
  shown = name;
  const address = media(`/media/${view.id}/picture`, `&of=${view.revision}`);
  pane.replaceChildren(
    h('h1', {}, 'Canals'),
    h('p', { class: 'quiet' }, 'Drawn from what was said: doubtful values carry a question mark, struck and planned steps are left out.'),
    h('div', { class: 'paper', tabindex: 0, role: 'group', 'aria-label': 'Picture of the canals; it can be scrolled' },
      h('img', { src: address, alt: 'Each canal with its length, shape and needles, and the visit along a line' })),
    h('p', {}, h('a', { href: address, target: '_blank', rel: 'noopener' }, 'The picture alone, with the same in words')));
}
