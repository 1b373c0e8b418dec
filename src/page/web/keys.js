// What can be done by a key. Every key can be changed; a foot pedal sends keys like any other keyboard.

/** id, what a person reads, usual keys. */
export const ACTIONS = [
  ['play', 'Play the words', ['p']],
  ['pause', 'Pause, or go on', ['k']],
  ['back', 'Back 2 seconds', ['j']],
  ['slower', 'Slower', ['-']],
  ['faster', 'Faster', ['+', '=']],
  ['accept', 'Accept', ['a']],
  ['correct', 'Correct', ['c']],
  ['strike', 'Strike, or restore', ['s']],
  ['cannot', 'Cannot tell', ['t']],
  ['next', 'Next', ['n', 'ArrowRight']],
  ['before', 'Back to the one before', ['b', 'ArrowLeft']],
  ['make', 'Make an entry', ['m']],
  ['undo', 'Undo', ['u', 'Ctrl+z']],
  ['redo', 'Redo', ['r', 'Ctrl+y']],
  ['look', 'View: to look at', ['F1']],
  ['record', 'View: the whole log', ['l']],
  ['canals', 'View: canals', ['i']],
  ['history', 'View: history', ['h']],
  ['sign', 'View: sign and hand on', ['g']],
  ['settings', 'Settings and keys', ['?']],
];

let mine = {};
try { mine = JSON.parse(localStorage.getItem('keys') ?? '{}'); } catch { /* as if none were set */ }

export const keysOf = (id) => mine[id] ?? ACTIONS.find(([a]) => a === id)[2];

export function setKey(id, key) {
  // A key does one thing.
  for (const [other] of ACTIONS) {
    if (other !== id && keysOf(other).includes(key)) mine[other] = keysOf(other).filter((k) => k !== key);
  }
  mine[id] = key ? [key] : [];
  localStorage.setItem('keys', JSON.stringify(mine));
}

export function resetKeys() {
  mine = {};
  localStorage.removeItem('keys');
}

/** "Ctrl+z", "p", "F13"; nothing for a modifier alone. */
export function nameOf(event) {
  if (['Control', 'Shift', 'Alt', 'Meta', 'Dead'].includes(event.key)) return null;
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  const ctrl = event.ctrlKey || event.metaKey ? 'Ctrl+' : '';
  return `${ctrl}${event.altKey ? 'Alt+' : ''}${key}`;
}

const SHOWN = { ArrowRight: '→', ArrowLeft: '←', ArrowUp: '↑', ArrowDown: '↓', ' ': 'Space' };
export const shown = (key) => SHOWN[key] ?? (key.length === 1 ? key.toUpperCase() : key);
export const hint = (id) => (keysOf(id)[0] ? shown(keysOf(id)[0]) : '');

/** Typing is typing; a dialog has keys of its own. */
function typing(target) {
  return target.closest?.('input, textarea, select, dialog, [role="slider"]');
}

/** Calls `run(id)`, or `run('choice', n)` for the digits, which choose among the alternatives. */
export function listen(run) {
  document.addEventListener('keydown', (event) => {
    const name = nameOf(event);
    if (!name || event.repeat || typing(event.target)) return;
    const found = ACTIONS.find(([id]) => keysOf(id).includes(name));
    if (found) {
      event.preventDefault();
      run(found[0]);
    } else if (/^[1-9]$/.test(name)) {
      event.preventDefault();
      run('choice', Number(name));
    }
  });
}
