// The recording: plays a span, goes back, changes its speed. One audio element, which loads by ranges.

import { get, media } from '/assets/api.js';
import { h, tell } from '/assets/dom.js';
import { hint } from '/assets/keys.js';
import { state, changed } from '/assets/state.js';
import { clock } from '/assets/words.js';
import { Wave } from '/assets/wave.js';

/** Words are played from a little before to a little after them. */
export const LEAD_S = 0.3;
const SPEEDS = [0.5, 0.75, 1, 1.25, 1.5, 2];

let audio;
let wave;
let until = null;
let speed = SPEEDS.indexOf(Number(localStorage.getItem('speed') ?? 1));
if (speed < 0) speed = 2;
let parts = {};

/** Builds the player's bar. */
export function build(footer) {
  audio = h('audio', { id: 'sound', preload: 'auto', 'aria-label': 'The recording' });
  const canvas = h('canvas', { id: 'wave' });
  const slider = h('div', { class: 'wave', role: 'slider', tabindex: 0, 'aria-label': 'Place in the recording', 'aria-valuemin': 0 }, canvas);
  const button = (act, label, sign, run) =>
    h('button', { class: 'sound', 'aria-label': label, title: `${label} (${hint(act)})`, data: { act }, on: { click: run } }, h('span', { 'aria-hidden': 'true' }, sign));
  parts = {
    play: button('pause', 'Play', '▶', toggle),
    speed: h('span', { class: 'speed' }, ''),
    time: h('span', { class: 'time' }, '0:00'),
    note: h('p', { class: 'quiet note' }, ''),
  };
  footer.replaceChildren(
    slider,
    h('div', { class: 'row' },
      button('back', 'Back 2 s', '↺ 2 s', () => back(2)),
      parts.play,
      button('slower', 'Slower', '−', () => faster(-1)),
      parts.speed,
      button('faster', 'Faster', '+', () => faster(1)),
      parts.time),
    parts.note, audio);
  wave = new Wave(canvas, slider, (s) => { until = null; audio.currentTime = s; shownAt(); });
  audio.addEventListener('play', loop);
  audio.addEventListener('pause', shownAt);
  audio.addEventListener('seeked', shownAt);
  audio.addEventListener('error', () => { parts.note.textContent = 'The browser cannot play the recording.'; });
  faster(0);
}

/** Makes the recording of the open log ready, and waits for it where that takes time. */
export async function open(id) {
  document.getElementById('player').hidden = false;
  audio.removeAttribute('src');
  wave.set({ peaks: null, duration: state.view.source.duration_s });
  for (;;) {
    if (state.view?.id !== id) return;
    const told = await get(`/api/log/${id}/sound`);
    state.sound = told;
    // That a transcript was read, not the recording, is told where the log is signed.
    parts.note.textContent = told.state === 'ready' && told.fits === null ? '' : told.sentence;
    parts.note.classList.toggle('bad', told.fits === false);
    if (told.state !== 'making') break;
    await new Promise((r) => setTimeout(r, 400));
  }
  changed({ sound: true });
  if (state.sound.state !== 'ready') return;
  audio.src = media(`/media/${id}/sound`);
  audio.playbackRate = SPEEDS[speed];
  const peaks = await get(`/api/log/${id}/peaks`);
  if (peaks) wave.set({ peaks: new Uint8Array(peaks), perS: state.sound.peaks_per_s, duration: state.sound.duration_s });
  mark();
  shownAt();
}

export const canPlay = () => state.sound.state === 'ready';

/** Plays these seconds, from a little before to a little after. */
export function play(span) {
  if (!span) return;
  if (!canPlay()) return tell(state.sound.sentence || 'There is no recording to play.');
  until = span[1] + LEAD_S;
  audio.currentTime = Math.max(0, span[0] - LEAD_S);
  audio.play().catch(() => tell('The browser cannot play the recording.'));
}

export function toggle() {
  if (!canPlay()) return tell(state.sound.sentence || 'There is no recording to play.');
  until = null;
  if (audio.paused) audio.play().catch(() => tell('The browser cannot play the recording.'));
  else audio.pause();
}

export function back(seconds) {
  audio.currentTime = Math.max(0, audio.currentTime - seconds);
  shownAt();
}

export function faster(by) {
  speed = Math.min(SPEEDS.length - 1, Math.max(0, speed + by));
  audio.playbackRate = SPEEDS[speed];
  audio.preservesPitch = true;
  localStorage.setItem('speed', SPEEDS[speed]);
  parts.speed.textContent = `${SPEEDS[speed]} ×`;
  if (by) tell(`Speed ${SPEEDS[speed]}`);
}

function loop() {
  shownAt();
  if (audio.paused) return;
  if (until !== null && audio.currentTime >= until) {
    audio.pause();
    until = null;
    return;
  }
  requestAnimationFrame(loop);
}

function shownAt() {
  const playing = !audio.paused;
  parts.play.firstChild.textContent = playing ? '❚❚' : '▶';
  parts.play.setAttribute('aria-label', playing ? 'Pause' : 'Play');
  const total = state.sound.duration_s || state.view?.source.duration_s || 0;
  parts.time.replaceChildren(clock(audio.currentTime, true), h('span', { class: 'of' }, ` of ${clock(total)}`));
  wave.set({ now: audio.currentTime });
}

/** Shows the marks of the log and of the place that is looked at. */
export function mark(span) {
  if (!state.view || !wave) return;
  const open = new Set(state.view.worst.filter((o) => o.is === 'doubt').map((o) => o.entry));
  const marks = state.view.entries.filter((e) => e.review !== 'struck').map((e) => [e.from_s, e.to_s, open.has(e.id)]);
  wave.set({ marks, ...(span === undefined ? {} : { span }) });
}
