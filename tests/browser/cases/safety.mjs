// Two tabs, a program that was killed, a foreign script, a full place: nothing is lost, and the person is told.

import fs from 'node:fs';
import path from 'node:path';

export const cases = {
  'two tabs: the later save is told, and can be tried again': async ({ open, samples, until, assert, readLog }) => {
    const folder = samples('incisor');
    const { page, tab, invite } = await open(['review', `${folder}/incisor.log.json`]);
    await page.waitForSelector('.card');
    const other = await tab(await invite());
    await other.waitForSelector('.card');
    const go = (p, id) => p.evaluate(async (e) => (await import('/assets/state.js')).go(`entry:${e}`), id);
    await go(page, 'e2');
    await go(other, 'e3');
    await page.keyboard.press('a');
    await until('the first is saved', () => readLog(folder, 'incisor').history.length === 1);
    await other.keyboard.press('a');
    await until('the later is told', async () => /changed elsewhere/.test(await other.textContent('#notice')));
    assert.equal(readLog(folder, 'incisor').history.length, 1);
    await other.click('#notice .first');
    await until('both are kept', () => readLog(folder, 'incisor').history.length === 2);
    await until('nothing is left to say', async () => (await other.textContent('#notice')) === '');
    assert.deepEqual(readLog(folder, 'incisor').history.map((c) => c.entry), ['e2', 'e3']);
  },

  'the program is killed: what was decided is there, and the page says so': async ({ open, samples, until, assert, readLog }) => {
    const folder = samples('incisor');
    const { page, process, complaints } = await open(['review', `${folder}/incisor.log.json`]);
    await page.waitForSelector('.card');
    await page.evaluate(async () => (await import('/assets/state.js')).go('entry:e2'));
    await page.keyboard.press('a');
    await until('it is saved', () => readLog(folder, 'incisor').history.length === 1);
    process.kill('SIGKILL');
    await page.waitForTimeout(200);
    await page.evaluate(async () => (await import('/assets/state.js')).go('entry:e3'));
    await page.keyboard.press('a');
    await until('the page says it', async () => /does not answer/.test(await page.textContent('#notice')));
    assert.equal(readLog(folder, 'incisor').history.length, 1);
    assert.deepEqual(fs.readdirSync(folder).filter((f) => f.includes('tmp')), [], 'nothing half-written');
    complaints.length = 0;
  },

  'the disk is full: the decision is kept on the page, and saved when there is room': async ({ open, samples, until, assert }) => {
    const folder = samples('incisor');
    // A small disk of our own, gone with the process; it has room again when the file `go` appears.
    const inside = `mkdir disk; mount -t tmpfs -o size=64k none disk || exit 77
      cp incisor.log.json disk/ && head -c 65536 /dev/zero > disk/fill 2>/dev/null
      (while [ ! -e go ]; do sleep 0.1; done; rm disk/fill) &
      exec "$0" "$@"`;
    let opened;
    try {
      opened = await open(['review', 'disk/incisor.log.json'], { inside, cwd: folder });
    } catch (e) {
      console.log(`      skipped: a small disk cannot be mounted here (${e.message})`);
      return;
    }
    const { page } = opened;
    await page.waitForSelector('.card');
    const changes = () => page.evaluate(async () => {
      const { get } = await import('/assets/api.js');
      const { state } = await import('/assets/state.js');
      return (await get(`/api/log/${state.view.id}`)).history.length;
    });
    await page.evaluate(async () => (await import('/assets/state.js')).go('entry:e2'));
    await page.keyboard.press('a');
    await until('it is told', async () => /Not saved.*nothing was left half-written.*disk is full/.test(await page.textContent('#notice')));
    assert.equal(await changes(), 0);
    fs.writeFileSync(path.join(folder, 'go'), '');
    await page.waitForTimeout(400);
    await page.click('#notice .first');
    await until('it is saved', async () => (await changes()) === 1);
    await until('nothing is left to say', async () => (await page.textContent('#notice')) === '');
  },

  'script in what was said and in the file name does not run': async ({ open, samples, assert, until }) => {
    const folder = samples('incisor');
    const evil = '<img src=x onerror="window.ran=1"><script>window.ran=1</script>';
    const name = path.join(folder, '<img src=x onerror=window.ran=1>.log.json');
    const log = JSON.parse(fs.readFileSync(path.join(folder, 'incisor.log.json'), 'utf8'));
    for (const e of log.entries) e.said = evil;
    for (const u of log.unplaced) u.said = evil;
    log.entries[4].doubts = [{ field: 'pulpal', reason: evil, alternatives: [evil] }];
    log.entries[4].values.pulpal = evil;
    log.case.reference = evil;
    fs.writeFileSync(name, JSON.stringify(log));
    const { page, complaints } = await open(['review', name]);
    await page.waitForSelector('.card');
    for (const view of ['record', 'canals', 'history', 'sign']) {
      await page.click(`.tab[data-act="${view}"]`);
      await page.waitForTimeout(150);
    }
    await page.click('#look [data-choice] >> nth=0');
    await until('decided', async () => /Draft/.test(await page.textContent('#top .state')));
    assert.match(await page.textContent('#top .name'), /<img src=x onerror=window.ran=1>/, 'it is shown as text');
    assert.equal(await page.evaluate(() => window.ran), undefined);
    assert.equal(await page.$('img[src="x"]'), null);
    assert.deepEqual(complaints, []);
  },

  'a log that was changed past the page says so': async ({ open, samples, assert, until, readLog }) => {
    const folder = samples('incisor');
    const file = path.join(folder, 'incisor.log.json');
    const first = await open(['review', file]);
    await first.page.waitForSelector('.card');
    await first.page.keyboard.press('a');
    await until('something is decided', () => readLog(folder, 'incisor').history.length > 0);
    assert.equal(await first.page.textContent('#notice'), '');
    fs.writeFileSync(file, fs.readFileSync(file, 'utf8').replace('"length_mm": 23.5', '"length_mm": 21.5'));
    const { page } = await open(['review', file]);
    await page.waitForSelector('.card');
    assert.match(await page.textContent('#notice'), /does not fit its history.*without being written down/);
  },

  'the token is gone from the address, and of use once': async ({ open, samples, assert, tugback, browser }) => {
    const folder = samples('incisor');
    const { page, url, complaints } = await open(['review', `${folder}/incisor.log.json`]);
    await page.waitForSelector('.card');
    assert.equal(new URL(page.url()).hash, '');
    const context = await browser.newContext();
    const second = await context.newPage();
    await second.goto(url);
    await second.waitForSelector('[role="alert"]');
    assert.match(await second.textContent('[role="alert"]'), /used already/);
    await context.close();
    assert.ok(tugback);
    assert.deepEqual(complaints, []);
  },

  'a recording that browsers cannot play is decoded and played': async ({ open, samples, assert, until, top }) => {
    const folder = samples('incisor');
    fs.rmSync(path.join(folder, 'incisor.flac'));
    fs.copyFileSync(path.join(top, 'tests/data/audio/voice_ima.wav'), path.join(folder, 'incisor.wav'));
    const { page } = await open(['review', `${folder}/incisor.log.json`]);
    await page.waitForFunction(() => document.getElementById('sound')?.readyState >= 2);
    const length = await page.evaluate(() => document.getElementById('sound').duration);
    assert.ok(length > 1 && Number.isFinite(length), `${length} s`);
    await page.keyboard.press('k');
    await until('it plays', () => page.evaluate(() => document.getElementById('sound').currentTime > 0.2));
    await page.keyboard.press('k');
    assert.ok(await page.evaluate(() => document.getElementById('sound').paused));
  },

  'the desk: states, open, make a log': async ({ open, samples, assert, until }) => {
    const folder = samples('incisor', 'lecture');
    fs.rmSync(path.join(folder, 'lecture.log.json'));
    fs.rmSync(path.join(folder, 'lecture.flac'));
    const { page } = await open(['desk', folder]);
    await page.waitForSelector('.desk li');
    assert.deepEqual(await page.$$eval('.desk h2', (all) => all.map((n) => n.textContent)), ['incisor', 'lecture']);
    await page.click('button[aria-label="Make the log of lecture"]');
    await page.waitForSelector('button[aria-label="Open lecture"]');
    await page.click('button[aria-label="Open incisor"]');
    await page.waitForSelector('.card');
    await page.click('[data-act="desk"]');
    await until('back at the desk', async () => (await page.$$('.desk li')).length === 2);
  },
};
