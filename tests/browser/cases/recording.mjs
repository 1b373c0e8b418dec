// The chair on the page: Record on the desk, what is seen while somebody speaks, pause, strike, flag, end. The sound takes the
// way of a real microphone: PulseAudio with a sink that nobody hears, ALSA, the recorder.

import { execFileSync, spawn, spawnSync } from 'node:child_process';
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';

const SIZES = { phone: [390, 844], tablet: [834, 1112], desk: [1440, 900] };
const wait = (ms) => new Promise((done) => { setTimeout(done, ms); });

/** Waits so many seconds at most: listening takes its time on a busy computer. */
async function within(seconds, what, check) {
  const end = performance.now() + seconds * 1000;
  while (performance.now() < end) {
    if (await check()) return;
    await wait(50);
  }
  throw new Error(`never within ${seconds} s: ${what}`);
}

/** A room with a microphone that hears what is played in it; nothing where that cannot be had. */
async function room() {
  const home = fs.mkdtempSync(path.join(os.tmpdir(), 'tugback-room-'));
  fs.writeFileSync(path.join(home, 'asound.conf'), '</usr/share/alsa/alsa.conf>\npcm.!default { type pulse }\nctl.!default { type pulse }\n');
  const env = { ...process.env, HOME: home, XDG_RUNTIME_DIR: home, PULSE_RUNTIME_PATH: home, ALSA_CONFIG_PATH: path.join(home, 'asound.conf') };
  const server = spawn('pulseaudio', ['-n', '--daemonize=no', '--exit-idle-time=-1', '-L', 'module-native-protocol-unix', '-L', 'module-null-sink sink_name=room', '-L', 'module-null-sink sink_name=loudspeaker'], { env, stdio: 'ignore' });
  let gone = false;
  server.on('error', () => { gone = true; });
  server.on('exit', () => { gone = true; });
  const close = () => { server.kill(); fs.rmSync(home, { recursive: true, force: true }); };
  // Tones come from a loudspeaker that this microphone does not hear.
  const chosen = () => [['set-default-source', 'room.monitor'], ['set-default-sink', 'loudspeaker']]
    .every((what) => spawnSync('pactl', what, { env, stdio: 'ignore' }).status === 0);
  for (let n = 0; n < 100 && !gone; n += 1) {
    if (chosen()) {
      return {
        env, home, close,
        /** Plays a file to its end, in small pieces: two seconds at once would look like a microphone that has gone. */
        play: (file) => new Promise((done) => { spawn('paplay', ['--device=room', '--latency-msec=50', file], { env, stdio: 'ignore' }).on('exit', done); }),
        /** How many programs have the microphone open. */
        listeners: () => execFileSync('pactl', ['list', 'short', 'source-outputs'], { env, encoding: 'utf8' }).split('\n').filter(Boolean).length,
      };
    }
    await wait(100);
  }
  close();
  return null;
}

/** Parts of a sample, one after the other with a second between, as a WAV file. The browser decodes it. */
async function cut(page, sample, parts, to) {
  const base64 = fs.readFileSync(sample).toString('base64');
  const samples = await page.evaluate(async ([text, cuts]) => {
    const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
    const sound = (await new OfflineAudioContext(1, 1, 16000).decodeAudioData(bytes.buffer)).getChannelData(0);
    const pause = new Array(16000).fill(0);
    return cuts.flatMap(([a, b]) => [...Array.from(sound.subarray(a * 16000, b * 16000), (s) => Math.round(s * 32767)), ...pause]);
  }, [base64, parts]);
  const head = Buffer.alloc(44);
  head.write('RIFF', 0); head.writeUInt32LE(36 + samples.length * 2, 4); head.write('WAVEfmt ', 8);
  head.writeUInt32LE(16, 16); head.writeUInt16LE(1, 20); head.writeUInt16LE(1, 22); head.writeUInt32LE(16000, 24);
  head.writeUInt32LE(32000, 28); head.writeUInt16LE(2, 32); head.writeUInt16LE(16, 34); head.write('data', 36); head.writeUInt32LE(samples.length * 2, 40);
  fs.writeFileSync(to, Buffer.concat([head, Buffer.from(Int16Array.from(samples).buffer)]));
}

const seconds = (text) => text.split(':').reduce((all, part) => all * 60 + Number(part), 0);

/** Looks at the page in every size; with SHOTS, keeps pictures. */
async function look(page, name, { assert, violations }) {
  for (const [size, [width, height]] of Object.entries(SIZES)) {
    await page.setViewportSize({ width, height });
    await page.waitForTimeout(150);
    if (process.env.SHOTS) await page.screenshot({ path: path.join(process.env.SHOTS, `live-${name}-${size}.png`) });
    assert.deepEqual(await violations(page), [], `${name}, ${size}`);
    const seen = await page.evaluate(() => ({
      across: document.documentElement.scrollWidth > innerWidth,
      buttons: [...document.querySelectorAll('.orders button')].every((b) => { const r = b.getBoundingClientRect(); return r.bottom <= innerHeight + 1 && r.height >= 44; }),
      newest: document.querySelector('.last li')?.getBoundingClientRect().bottom ?? 0,
      orders: document.querySelector('.orders').getBoundingClientRect().top,
      large: parseFloat(getComputedStyle(document.querySelector('.last .what') ?? document.body).fontSize),
    }));
    assert.ok(!seen.across, `${name}, ${size}: nothing stands beyond the edge`);
    assert.ok(seen.buttons, `${name}, ${size}: all orders are in sight, for a finger`);
    assert.ok(seen.newest <= seen.orders + 1, `${name}, ${size}: the newest entry is in sight without scrolling (${seen.newest} of ${seen.orders})`);
  }
  await page.setViewportSize({ width: SIZES.desk[0], height: SIZES.desk[1] });
}

export const cases = {
  'recorded from the desk: level, time, entries, doubt, clock, pause, end': async (tools) => {
    const { open, assert, tugback, top } = tools;
    const found = await room();
    if (!found) { console.log('      skipped: PulseAudio is not here, or does not start'); return; }
    const folder = path.join(found.home, 'visits');
    fs.mkdirSync(folder);
    try {
      if (spawnSync(tugback, ['models']).status !== 0) { console.log('      skipped: no speech model is here'); return; }
      const { page } = await open(['desk', folder], { env: found.env });
      await page.waitForSelector('.desk');
      const sample = path.join(top, 'audio-samples/incisor.flac');
      const file = (name) => path.join(found.home, `${name}.wav`);
      // Working length 23.5; patency. Five mils of hypochlorite. What nobody may hear: citric acid ten percent.
      await cut(page, sample, [[43, 54.2], [64.2, 67.6]], file('spoken'));
      await cut(page, sample, [[87, 90]], file('private'));
      await cut(page, sample, [[92, 94.2]], file('after'));

      await page.click('[data-act="record-now"]');
      await page.waitForSelector('.live');
      const is = () => page.textContent('.live .is');
      const level = async () => Number(await page.getAttribute('[role=meter]', 'aria-valuenow'));
      const time = async () => seconds(await page.textContent('.elapsed'));
      // The room is dead silent: a microphone that gives exact zeros is not one that records.
      assert.doesNotMatch(await is(), /^\W*Recording/);

      await within(20, 'the microphone is open', () => found.listeners() === 1);
      await wait(500);
      let most = 0;
      const spoken = found.play(file('spoken'));
      const until = performance.now() + 8000;
      await within(20, 'it records', async () => /Recording/.test(await is()));
      while (performance.now() < until) { most = Math.max(most, await level()); await wait(100); }
      assert.ok(most > 30, `the level moves while somebody speaks: ${most}`);
      const entry = (what) => page.locator('.last li', { hasText: what });
      await within(20, 'the working length is there while the recording runs', () => entry('23.5').count());
      await spoken;
      await within(30, 'the clock of the irrigant runs', () => page.locator('.clocks', { hasText: 'hypochlorite' }).count());
      assert.equal(await page.locator('.last li').count(), 3, 'the last three');
      await within(5, 'the level falls in silence', async () => (await level()) < 10);
      const before = await time();
      await wait(2100);
      const passed = (await time()) - before;
      assert.ok(passed >= 1 && passed <= 4, `two seconds passed, the page says ${passed}`);
      await look(page, 'recording', tools);

      // A flag is a doubt, in sight at once.
      assert.equal(await page.locator('.last .open').count(), 0);
      await page.keyboard.press('f');
      await within(10, 'the last entry is in doubt', () => page.locator('.last li:first-child.open').count());
      assert.match(await page.textContent('.counts'), /1 doubt/);
      await look(page, 'doubt', tools);

      // Pause closes the microphone: the sound server knows of nobody who listens, and time stands still.
      assert.equal(found.listeners(), 1);
      await page.click('[data-act="live-pause"]');
      await within(10, 'it is paused', async () => /Paused/.test(await is()));
      assert.equal(found.listeners(), 0, 'the microphone is closed');
      const stood = await time();
      await found.play(file('private'));
      assert.ok((await time()) - stood < 1, 'time stands still');
      assert.equal(await level(), 0);
      await look(page, 'paused', tools);
      await page.click('[data-act="live-pause"]');
      await within(10, 'the microphone is open again', () => found.listeners() === 1);
      await found.play(file('after'));
      await within(30, 'what is said afterwards is heard', () => entry('water').count());

      // Asked once more, and then the log opens.
      await page.click('[data-act="live-end"]');
      await page.keyboard.press('Escape');
      await within(5, 'no is no', async () => !(await page.locator('dialog').count()) && /Recording|Not yet/.test(await is()));
      await page.click('[data-act="live-end"]');
      await page.click('[data-act="live-end-sure"]');
      await page.waitForSelector('.card, #card-title', { timeout: 90000 });
      assert.equal(found.listeners(), 0);
      const made = fs.readdirSync(folder);
      const log = JSON.parse(fs.readFileSync(path.join(folder, made.find((f) => f.endsWith('.log.json'))), 'utf8'));
      const all = JSON.stringify(log);
      assert.ok(log.entries.some((e) => e.values.length_mm === 23.5), 'the working length');
      assert.ok(log.entries.some((e) => e.kind === 'irrigation' && e.values.agent === 'sodium-hypochlorite' && e.values.volume_ml === 5), 'the irrigation');
      assert.ok(log.entries.some((e) => e.values.agent === 'water' || /water/.test(JSON.stringify(e.values))), 'what came after the pause');
      assert.ok(!/citric/i.test(all), 'what was said while it was paused is nowhere');
      // The log is that of the recording.
      const recording = path.join(folder, made.find((f) => f.endsWith('.wav')));
      const again = path.join(found.home, 'again.json');
      execFileSync(tugback, ['log', '--quiet', '-o', again, recording]);
      assert.equal(fs.readFileSync(again, 'utf8'), fs.readFileSync(recording.replace(/\.wav$/, '.log.json'), 'utf8'));
    } finally {
      found.close();
    }
  },
};
