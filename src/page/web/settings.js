// What a person sets for this browser: name, look, glove mode, keys.

import { me, post } from '/assets/api.js';
import { dialog, h, tell } from '/assets/dom.js';
import { ACTIONS, keysOf, nameOf, resetKeys, setKey, shown } from '/assets/keys.js';
import { changed } from '/assets/state.js';

export function applySettings() {
  document.documentElement.dataset.look = localStorage.getItem('look') ?? 'auto';
  document.documentElement.dataset.glove = localStorage.getItem('glove') ?? 'off';
}

export function settings() {
  return dialog('Settings and keys', (done) => {
    const select = (id, label, options, value, set) => h('div', { class: 'field' }, h('label', { for: id }, label),
      h('select', { id, on: { change: (e) => { set(e.target.value); applySettings(); changed({ at: true }); } } },
        options.map(([v, t]) => h('option', { value: v, selected: v === value }, t))));
    const list = h('ul', { class: 'keys' });
    const fillKeys = () => list.replaceChildren(...ACTIONS.map(([id, label]) => h('li', {}, h('span', { id: `key-${id}` }, label),
      h('button', { type: 'button', id: `key-${id}-is`, 'aria-labelledby': `key-${id} key-${id}-is`, on: { click: (e) => learn(e.currentTarget, id) } },
        keysOf(id).map((k) => h('kbd', {}, shown(k))), keysOf(id).length === 0 && 'no key'))));
    const learn = (button, id) => {
      button.textContent = 'press a key or pedal …';
      const heard = (e) => {
        e.preventDefault();
        e.stopPropagation();
        const name = nameOf(e);
        if (!name) return;
        document.removeEventListener('keydown', heard, true);
        if (name !== 'Escape') setKey(id, name);
        fillKeys();
        list.children[ACTIONS.findIndex(([a]) => a === id)].querySelector('button').focus();
        changed({ at: true });
      };
      document.addEventListener('keydown', heard, true);
    };
    fillKeys();
    return h('div', {},
      h('div', { class: 'fields' },
        h('div', { class: 'field' }, h('label', { for: 'set-who' }, 'Your name, kept with each decision'),
          h('input', { id: 'set-who', '.value': localStorage.getItem('who') ?? me.who, autocomplete: 'off', maxlength: 200, on: { change: (e) => localStorage.setItem('who', e.target.value.trim()) } })),
        select('set-look', 'Look', [['auto', 'as the system'], ['light', 'light'], ['dark', 'dark']], localStorage.getItem('look') ?? 'auto', (v) => localStorage.setItem('look', v)),
        select('set-glove', 'Glove mode: larger targets', [['off', 'off'], ['on', 'on']], localStorage.getItem('glove') ?? 'off', (v) => localStorage.setItem('glove', v))),
      h('h3', {}, 'Keys'), h('p', { class: 'quiet' }, 'Choose one, then press the key or the pedal. 1 to 9 choose among the alternatives.'),
      list,
      h('div', { class: 'row end' },
        h('button', { type: 'button', on: { click: () => { resetKeys(); fillKeys(); changed({ at: true }); } } }, 'Usual keys'),
        h('button', { type: 'button', on: { click: another } }, 'Open another tab'),
        h('button', { type: 'button', class: 'first', on: { click: () => done(null) } }, 'Done')));
  }, { wide: true });
}

async function another() {
  const { url } = await post('/api/invite');
  if (!window.open(url, '_blank')) tell('The browser opens no other tab; allow it for this page, then try again.');
}
