// While it is recorded: state, level, time, the running clock, the last entries, and what can be asked for. Only shows: the
// recording is made by a process of its own.

import { get, post } from '/assets/api.js';
import { dialog, h, tell } from '/assets/dom.js';
import { nameOf, shown as keyName } from '/assets/keys.js';
import { canalText, clock, doubtsOf, fieldName, many, place, valueText, whatText } from '/assets/words.js';

const STATES = {
  opening: ['◌', 'Not yet recording', 'Wait for the two high tones.'],
  recording: ['●', 'Recording', ''],
  paused: ['‖', 'Paused', 'The microphone is closed: nothing is recorded.'],
  gone: ['✕', 'No microphone', 'What is said now is not recorded.'],
  over: ['…', 'Over', 'The whole recording is listened to once more; then the log opens.'],
};
const EVERY_MS = 250;

let timer = null;
let parts = null;
let keys = {};
let last = '';
let holding = false;
let said = '';

export function leave() {
  clearTimeout(timer);
  document.removeEventListener('keydown', onKey);
  document.removeEventListener('keyup', onKeyUp);
  parts = null;
}

async function order(what) {
  try { await post(`/api/live/order/${what}`); } catch (e) { tell(e.message); }
}

/** The key of the settings; the terminal calls the blank "Space". */
const named = (event) => (event.key === ' ' ? 'Space' : nameOf(event));
const asked = (event) => Object.entries(keys).find(([, names]) => names.includes(named(event)))?.[0];

function onKey(event) {
  if (event.repeat || event.target.closest?.('dialog')) return;
  const what = asked(event);
  if (!what) return;
  event.preventDefault();
  event.stopPropagation();
  if (what === 'end') end();
  else if (what === 'pause' && parts?.talk.checked && said !== 'recording') { holding = true; order('go-on'); } else order(what);
}

function onKeyUp(event) {
  if (asked(event) !== 'pause') return;
  event.preventDefault();
  if (holding) { holding = false; order('pause'); }
}

async function end() {
  const sure = await dialog('End this recording?', (done) => h('form', { method: 'dialog' },
    h('p', {}, 'The microphone is closed, and the log is made from all of the recording.'),
    h('div', { class: 'row end' },
      h('button', { type: 'button', on: { click: () => done(false) } }, 'Go on recording'),
      h('button', { type: 'button', class: 'first', data: { act: 'live-end-sure' }, on: { click: () => done(true) } }, 'End and make the log'))));
  if (sure) order('end');
}

/** Held: the microphone is open as long as the finger is down. */
function hold(down) {
  if (down === holding) return;
  holding = down;
  order(down ? 'go-on' : 'pause');
}

function build(main) {
  const p = {
    sign: h('span', { 'aria-hidden': 'true' }), state: h('span', {}), time: h('span', { class: 'elapsed' }),
    level: h('div', { class: 'level', role: 'meter', 'aria-label': 'Level of the microphone', 'aria-valuemin': 0, 'aria-valuemax': 100 }, h('div', {})),
    note: h('p', { class: 'quiet' }), warning: h('p', { class: 'notice', role: 'alert' }), clocks: h('dl', { class: 'clocks' }),
    entries: h('ol', { class: 'last', 'aria-live': 'off' }), counts: h('p', { class: 'counts' }),
    talk: h('input', { type: 'checkbox', id: 'hold' }),
    pause: h('button', { class: 'first', data: { act: 'live-pause' } }), flag: h('button', { data: { act: 'live-flag' }, on: { click: () => order('flag') } }),
    strike: h('button', { data: { act: 'live-strike' }, on: { click: () => order('strike') } }),
    end: h('button', { data: { act: 'live-end' }, on: { click: end } }, 'End'),
  };
  p.pause.addEventListener('click', () => { if (!p.talk.checked) order(said === 'paused' ? 'go-on' : 'pause'); });
  p.pause.addEventListener('pointerdown', (e) => { if (p.talk.checked) { p.pause.setPointerCapture(e.pointerId); hold(true); } });
  for (const event of ['pointerup', 'pointercancel', 'lostpointercapture']) p.pause.addEventListener(event, () => { if (p.talk.checked) hold(false); });
  p.pause.addEventListener('contextmenu', (e) => e.preventDefault());
  main.replaceChildren(h('div', { class: 'live' },
    h('h1', { class: 'is' }, p.sign, ' ', p.state, ' ', p.time), p.level, p.note, p.warning, p.clocks,
    h('section', { 'aria-label': 'Last entries' }, p.entries, p.counts),
    h('div', { class: 'orders' }, p.pause, p.flag, p.strike, p.end),
    h('label', { class: 'check' }, p.talk, ' Push to talk: the microphone is open only while the button or key is held')));
  return p;
}

const label = (text, what) => (keys[what]?.[0] ? `${text} (${keyName(keys[what][0])})` : text);

function entry(e) {
  const open = e.doubts.length > 0 && e.review !== 'struck';
  const values = Object.entries(e.values).filter(([f]) => f !== 'said_as').map(([f, v]) => h('span', { class: doubtsOf(e, f).length ? 'pair doubted' : 'pair' },
    typeof v === 'number' ? `${fieldName(f)} ` : '', h('b', {}, valueText(f, v)), doubtsOf(e, f).length ? ' ?' : ''));
  return h('li', { class: [open ? 'open' : '', e.review === 'struck' ? 'struck' : ''].join(' ') },
    h('p', { class: 'small' }, `${clock(e.from_s)} · ${place(e)}`),
    h('p', { class: 'what' }, whatText(e)),
    h('p', { class: 'says' }, values),
    open && h('p', { class: 'small' }, h('span', { class: 'query', 'aria-hidden': 'true' }, '?'), ' ', e.doubts.map((d) => `${fieldName(d.field)}: ${d.reason}`).join('; ')));
}

function clocks(s) {
  const row = (name, value) => h('div', {}, h('dt', {}, name), h('dd', {}, value));
  return [
    s.timer && row(`Timer of ${s.timer.of_s} s`, `${Math.ceil(s.timer.left_s)} s`),
    s.rinsed && row(`Last irrigation${s.rinsed.canal ? `, ${canalText(s.rinsed.canal)}` : ''}`, `${clock(s.rinsed.ago_s)} ago`),
    s.contact && row(`In the canal: ${valueText('agent', s.contact.agent)}`, clock(s.contact.for_s)),
  ].filter(Boolean);
}

function draw(s) {
  const [sign, state, note] = STATES[s.state] ?? STATES.opening;
  said = s.state;
  parts.sign.textContent = sign;
  parts.state.textContent = state;
  parts.state.parentElement.className = `is ${s.state}`;
  parts.time.textContent = s.recorded_s === undefined ? '' : clock(s.recorded_s);
  parts.note.textContent = note || (s.behind_s > 3 ? `The log is ${Math.round(s.behind_s)} s behind.` : '');
  const level = Math.round((s.level ?? 0) * 100);
  parts.level.setAttribute('aria-valuenow', level);
  parts.level.firstChild.style.width = `${level}%`;
  const warning = s.warning ?? (s.asked_to_end ? 'Say “end of log” once more to end.' : '');
  parts.warning.hidden = !warning;
  if (parts.warning.textContent !== warning) parts.warning.textContent = warning;
  parts.clocks.replaceChildren(...clocks(s));
  const entries = JSON.stringify(s.last ?? []);
  if (entries !== last) {
    last = entries;
    parts.entries.replaceChildren(...(s.last ?? []).toReversed().map(entry));
  }
  parts.counts.textContent = s.entries ? `${many(s.entries, 'entry', 'entries')}, ${many(s.doubts, 'doubt', 'doubts')}` : 'Nothing is logged yet.';
  const over = s.state === 'over';
  for (const b of [parts.pause, parts.flag, parts.strike, parts.end]) b.disabled = over;
  parts.pause.textContent = label(parts.talk.checked ? 'Hold to talk' : s.state === 'paused' ? 'Go on' : 'Pause', 'pause');
  parts.flag.textContent = label('Flag it', 'flag');
  parts.strike.textContent = label('Strike the last', 'strike');
}

/** Shows the recording until it is over; then `done(id)`, or without an id where there is no log. */
export async function render(main, done) {
  leave();
  last = '';
  document.addEventListener('keydown', onKey);
  document.addEventListener('keyup', onKeyUp);
  const mine = build(main);
  parts = mine;
  const turn = async () => {
    let now;
    try { now = await get('/api/live'); } catch (e) {
      if (parts !== mine) return;
      parts.warning.hidden = false;
      parts.warning.textContent = e.message;
      timer = setTimeout(turn, 2000);
      return;
    }
    if (parts !== mine) return;
    if (now.is === 'on') {
      keys = now.keys ?? {};
      draw(now.shown ?? { state: 'opening' });
      timer = setTimeout(turn, EVERY_MS);
      return;
    }
    leave();
    if (now.is === 'failed') tell(now.sentence);
    done(now.is === 'over' ? now.id : null, now.is === 'failed' ? now.sentence : null);
  };
  await turn();
}
