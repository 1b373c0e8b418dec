// A sample is reviewed to the end without a pointer: only keys, as a foot pedal or a keyboard sends them.

/** Where the recording began and stopped to play. */
async function watchSound(page) {
  await page.evaluate(() => {
    window.played = [];
    const sound = document.getElementById('sound');
    sound.addEventListener('play', () => window.played.push([sound.currentTime, null]));
    sound.addEventListener('pause', () => { window.played.at(-1)[1] = sound.currentTime; });
  });
}

const ready = (page) => page.waitForFunction(() => document.getElementById('sound').readyState >= 2);
const title = (page) => page.textContent('#card-title');

export const cases = {
  'keyboard only: play, correct, undo, read through, sign, compare': async ({ open, samples, until, assert, readLog, verify }) => {
    const folder = samples('after-visit');
    const { page } = await open(['review', `${folder}/after-visit.log.json`]);
    await page.waitForSelector('.card');
    await ready(page);
    await watchSound(page);

    // The first doubt is a number: its words are played from 0.3 s before to 0.3 s after them.
    const first = await page.evaluate(async () => {
      const { item } = await import('/assets/state.js');
      const { entry } = item();
      const { field } = entry.doubts[0];
      return { id: entry.id, from: entry.from_s, to: entry.to_s, field, was: entry.values[field] };
    });
    await page.keyboard.press('p');
    await until('it stops by itself', () => page.evaluate(() => window.played[0]?.[1]));
    const [[from, to]] = await page.evaluate(() => window.played);
    assert.ok(Math.abs(from - (first.from - 0.3)) < 0.05, `played from ${from}, the words start at ${first.from}`);
    assert.ok(to >= first.to + 0.3 && to < first.to + 0.6, `played to ${to}, the words end at ${first.to}`);

    // Corrected by keys: the form opens on the doubtful field.
    await page.keyboard.press('c');
    await page.waitForSelector('dialog');
    assert.equal(await page.evaluate(() => document.activeElement.name), first.field);
    await page.keyboard.type('4,5');
    await page.keyboard.press('Enter');
    await until('the wrong number is told', async () => /is no number/.test(await page.textContent('dialog .wrong')));
    await page.keyboard.press('Control+a');
    await page.keyboard.type('4.5');
    await page.keyboard.press('Enter');
    await until('the dialog closes', async () => !(await page.$('dialog')));
    const entryOf = () => readLog(folder, 'after-visit').entries.find((e) => e.id === first.id);
    assert.equal(entryOf().values[first.field], 4.5, 'it is on disk at once');
    assert.deepEqual(entryOf().heard, { [first.field]: first.was });
    await page.keyboard.press('u');
    await until('it is taken back', () => entryOf().values[first.field] === first.was);
    assert.equal(entryOf().review, 'unseen');
    await page.keyboard.press('r');
    await until('it is done again', () => entryOf().values[first.field] === 4.5);

    // Settled: the same key that accepts goes on.
    await page.keyboard.press('a');
    await until('it goes on', async () => (await page.evaluate(async () => (await import('/assets/state.js')).state.at)) !== `entry:${first.id}`);

    // Every other place, the worst first, until nothing is left.
    for (let n = 0; n < 40; n += 1) {
      const before = await title(page);
      if (before.includes('Nothing is left')) break;
      const left = await page.evaluate(async () => (await import('/assets/state.js')).state.view.worst.length);
      await page.keyboard.press('a');
      await until(`${before} is settled`, async () => (await page.evaluate(async () => (await import('/assets/state.js')).state.view.worst.length)) < left);
    }
    assert.match(await title(page), /Nothing is left/);

    await page.keyboard.press('g');
    await page.waitForSelector('form.sign');
    assert.equal(await page.$('form.sign [type=checkbox]'), null, 'nothing is left to sign as not verified');
    // By Tab into the form, as a person without a pointer does.
    for (let n = 0; n < 60 && (await page.evaluate(() => document.activeElement.id)) !== 'sign-name'; n += 1) await page.keyboard.press('Tab');
    await page.keyboard.type('B. Signer');
    await page.keyboard.press('Tab');
    await page.keyboard.type('treating dentist');
    await page.keyboard.press('Enter');
    await until('it is signed', () => readLog(folder, 'after-visit').signature);
    await until('the page says so', async () => /Signed/.test(await page.textContent('#top .state')));
    assert.equal(readLog(folder, 'after-visit').signature.name, 'B. Signer');
    assert.match(verify(folder, 'after-visit'), /B\. Signer, treating dentist.*fits what was signed/);

    // A signed log: a change asks for its reason, and Escape leaves all as it is.
    const before = JSON.stringify(readLog(folder, 'after-visit'));
    await page.keyboard.press('l');
    await page.evaluate(async (id) => (await import('/assets/state.js')).go(`entry:${id}`), first.id);
    await page.keyboard.press('s');
    await page.waitForSelector('#reason');
    await page.keyboard.press('Escape');
    await until('the dialog closes', async () => !(await page.$('dialog')));
    assert.equal(JSON.stringify(readLog(folder, 'after-visit')), before);
    await page.keyboard.press('s');
    await page.waitForSelector('#reason');
    await page.keyboard.type('not done in this visit');
    await page.keyboard.press('Enter');
    await until('it is amended', () => readLog(folder, 'after-visit').history.at(-1).reason === 'not done in this visit');
    assert.match(verify(folder, 'after-visit'), /1 amendments came after/);
  },

  'keys can be changed, and a pedal is a key': async ({ open, samples, until, assert, readLog }) => {
    const folder = samples('incisor');
    const { page } = await open(['review', `${folder}/incisor.log.json`]);
    await page.waitForSelector('.card');
    await page.keyboard.press('?');
    await page.click('#key-accept-is');
    await page.keyboard.press('F8');
    assert.equal((await page.textContent('#key-accept-is')).trim(), 'F8');
    await page.keyboard.press('Escape');
    const changes = () => readLog(folder, 'incisor').history.length;
    await page.keyboard.press('a');
    await page.waitForTimeout(300);
    assert.equal(changes(), 0, 'the old key does nothing');
    await page.keyboard.press('F8');
    await until('the new key accepts', () => changes() > 0);
    await page.reload();
    await page.waitForSelector('.card');
    assert.equal(await page.evaluate(async () => (await import('/assets/keys.js')).hint('accept')), 'F8');
  },

  'alternatives by their digits, cannot tell, strike, speed, back': async ({ open, samples, until, assert, readLog }) => {
    const folder = samples('lecture');
    const { page } = await open(['review', `${folder}/lecture.log.json`]);
    await page.waitForSelector('.card');
    await ready(page);
    const log = () => readLog(folder, 'lecture');
    const id = log().entries.find((e) => e.doubts?.some((d) => d.alternatives?.length)).id;
    await page.evaluate(async (e) => (await import('/assets/state.js')).go(`entry:${e}`), id);
    await page.waitForSelector('.card [data-choice]');
    const doubt = log().entries.find((e) => e.id === id).doubts[0];
    const count = log().entries.length;
    await page.keyboard.press('2');
    const value = (e) => (['tooth', 'canal'].includes(doubt.field) ? e[doubt.field] : e.values[doubt.field]);
    await until('the alternative is taken', () => value(log().entries.find((e) => e.id === id)) === doubt.alternatives[0]);
    assert.equal(log().entries.find((e) => e.id === id).review, 'amended');
    await page.keyboard.press('u');
    await until('taken back', () => log().entries.find((e) => e.id === id).review === 'unseen');
    await page.keyboard.press('t');
    await until('marked', () => log().entries.find((e) => e.id === id).cannot_tell);
    assert.ok(log().entries.find((e) => e.id === id).doubts.length > 1, 'it stays doubtful');
    await page.evaluate(async (e) => (await import('/assets/state.js')).go(`entry:${e}`), id);
    await page.keyboard.press('s');
    await until('struck', () => log().entries.find((e) => e.id === id).review === 'struck');
    assert.equal(log().entries.length, count, 'a struck entry stays');
    await page.keyboard.press('+');
    assert.equal(await page.evaluate(() => document.getElementById('sound').playbackRate), 1.25);
    await page.evaluate(() => { document.getElementById('sound').currentTime = 10; });
    await page.keyboard.press('j');
    assert.ok(Math.abs((await page.evaluate(() => document.getElementById('sound').currentTime)) - 8) < 0.1);
  },
};
