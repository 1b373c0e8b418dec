// The desk: all recordings and logs of the folder, and how far each is.

import { get, post } from '/assets/api.js';
import { fill, h, tell } from '/assets/dom.js';
import { clock, many } from '/assets/words.js';

const STATES = {
  'no-log': () => ['○', 'no log yet'],
  recording: () => ['●', 'being recorded'],
  'cut-off': (s) => ['!', `cut off by a crash after ${clock(s.seconds)}`],
  listening: () => ['…', 'being listened to'],
  failed: (s) => ['✕', `did not work: ${s.sentence}`],
  damaged: (s) => ['✕', s.sentence],
  draft: (s, a) => (a.to_look_at || a.unseen ? ['?', `${s.begun ? 'begun' : 'draft'}: ${a.to_look_at} to look at, ${a.unseen} to read through`] : ['✓', 'seen, not signed']),
  signed: (s) => ['✓', `signed by ${s.by.name}`],
  amended: (s) => ['✎', `changed since ${s.by.name} signed it`],
};

let timer = null;

/** `open(id)` opens a log, `record()` shows the recording that runs; `failed` is said where one could not be made. */
export async function render(main, open, record, failed) {
  clearTimeout(timer);
  let desk;
  let live;
  try { [desk, live] = await Promise.all([get('/api/desk'), get('/api/live')]); } catch (e) { tell(e.message); return; }
  const begin = async (how) => {
    try { await post('/api/live/start', how); } catch (e) { tell(e.message); return; }
    record();
  };
  const row = (i) => {
    const [sign, text] = STATES[i.state.is](i.state, i.about);
    const a = i.about ?? {};
    const about = [a.teeth?.length && `tooth ${a.teeth.join(', ')}`, a.duration_s && clock(a.duration_s), a.reference].filter(Boolean).join(' · ');
    const start = async () => {
      try { await post(`/api/desk/${i.id}/start`); tell(`${i.name} is being listened to.`); } catch (e) { tell(e.message); }
      render(main, open, record);
    };
    const mend = async () => {
      try { await post(`/api/desk/${i.id}/mend`); tell(`${i.name} is finished.`); } catch (e) { tell(e.message); }
      render(main, open, record);
    };
    return h('li', {},
      h('div', { class: 'which' }, h('h2', {}, i.name), h('p', { class: 'quiet' }, about || i.source || '')),
      h('p', { class: 'state' }, h('span', { class: 'query', 'aria-hidden': 'true' }, sign), ' ', text),
      i.has_log && h('button', { class: 'first', data: { act: `open-${i.id}` }, on: { click: () => open(i.id) }, 'aria-label': `Open ${i.name}` }, 'Open'),
      i.state.is === 'cut-off' && h('button', { class: 'first', data: { act: `mend-${i.id}` }, on: { click: mend }, 'aria-label': `Finish ${i.name}` }, 'Finish it'),
      !i.has_log && desk.can_start && ['no-log', 'failed'].includes(i.state.is)
        && h('button', { data: { act: `start-${i.id}` }, on: { click: start }, 'aria-label': `Make the log of ${i.name}` }, 'Make the log'));
  };
  fill(main, h('div', { class: 'desk' }, h('h1', {}, 'Desk'),
    failed && h('p', { class: 'notice', role: 'alert' }, failed),
    live.is === 'on' && h('div', { class: 'row' }, h('button', { class: 'first', data: { act: 'live' }, on: { click: record } }, '● A recording runs: show it')),
    live.is !== 'on' && live.can_record && h('div', { class: 'row' },
      h('button', { class: 'first', data: { act: 'record-now' }, on: { click: () => begin({}) } }, '● Record'),
      h('button', { data: { act: 'record-talk' }, on: { click: () => begin({ push_to_talk: true }) } }, 'Record, push to talk')),
    h('p', { class: 'quiet' }, many(desk.items.length, 'recording or log', 'recordings and logs')),
    desk.items.length ? h('ul', {}, desk.items.map(row)) : h('p', {}, 'There is no recording and no log in this folder.')));
  if (desk.items.some((i) => ['listening', 'recording'].includes(i.state.is))) timer = setTimeout(() => render(main, open, record), 1500);
}

export const leave = () => clearTimeout(timer);
