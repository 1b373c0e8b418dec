// The same by fingers alone, on a tablet.

const tablet = { viewport: { width: 834, height: 1112 }, hasTouch: true, isMobile: true };

/** What a finger hits is at least so large, in both directions. */
async function smallest(page) {
  return page.evaluate(() => {
    const all = [...document.querySelectorAll('button, a.button, select, input, summary, [role="slider"]')].filter((n) => n.checkVisibility({ contentVisibilityAuto: true }) && !n.closest('[inert]'));
    const small = all.map((n) => {
      // A box to tick is hit through its label.
      const b = (n.type === 'checkbox' ? n.closest('label') : n).getBoundingClientRect();
      return { name: n.ariaLabel || n.textContent.trim() || n.name || n.id, least: Math.min(b.width, b.height) };
    });
    small.sort((a, b) => a.least - b.least);
    return small[0];
  });
}

export const cases = {
  'touch only: read through, make an entry, sign with the rest not verified': async ({ open, samples, until, assert, readLog, verify }) => {
    const folder = samples('after-visit');
    const { page } = await open(['review', `${folder}/after-visit.log.json`], tablet);
    const log = () => readLog(folder, 'after-visit');
    await page.waitForSelector('.card');
    await page.waitForFunction(() => document.getElementById('sound').readyState >= 2);
    await page.tap('[data-act="play"]');
    await until('it plays', () => page.evaluate(() => document.getElementById('sound').currentTime > 0));
    await page.tap('#look [data-choice]');
    await until('the value is confirmed', () => log().history.length === 1);
    assert.equal(log().history[0].more, undefined);
    assert.equal(log().history[0].what, 'confirm');
    await page.tap('[data-act="undo"]');
    await until('taken back', () => log().history.length === 2);
    await page.tap('[data-act="todo-rest"]');
    await page.tap('#look [data-act="accept"]');
    await until('what nobody doubts is accepted', () => log().entries.filter((e) => e.review === 'confirmed').length > 15);

    await page.tap('.tab[data-act="record"]');
    const speech = log().unplaced.length;
    await page.tap('.speech .plain');
    await page.waitForSelector('dialog');
    await page.selectOption('#make-kind', 'irrigation');
    await page.tap('dialog [name="volume_ml"]');
    await page.fill('dialog [name="volume_ml"]', '2.5');
    await page.tap('dialog [type="submit"]');
    await until('the entry is there', () => log().entries.some((e) => e.rule === 'review.made' && e.values.volume_ml === 2.5));
    assert.equal(log().unplaced.length, speech, 'the speech stays where it was');

    await page.tap('.tab[data-act="sign"]');
    await page.fill('#sign-name', 'B. Signer');
    await page.fill('#sign-role', 'treating dentist');
    await page.tap('[data-act="do-sign"]');
    await until('it is asked for', async () => /need eyes/.test(await page.textContent('form.sign .wrong')));
    assert.equal(log().signature, undefined);
    await page.tap('form.sign .check');
    await page.tap('[data-act="do-sign"]');
    await until('it is signed', () => log().signature);
    assert.ok(log().signature.not_verified.entries.length >= 2);
    await page.tap('[data-act="verify"]');
    await until('it is compared', async () => /fits what was signed/.test(await page.textContent('#verified')));
    assert.match(verify(folder, 'after-visit'), /signed as not verified/);
    const [file] = await Promise.all([page.waitForEvent('download'), page.tap('a.button[href*="/export/note"]')]);
    assert.equal(file.suggestedFilename(), 'note.md');
  },

  'targets are 44 px, and 64 px in glove mode': async ({ open, samples, assert }) => {
    const folder = samples('after-visit');
    const { page } = await open(['review', `${folder}/after-visit.log.json`], tablet);
    await page.waitForSelector('.card');
    for (const [glove, size] of [['off', 44], ['on', 64]]) {
      await page.evaluate((g) => { document.documentElement.dataset.glove = g; }, glove);
      for (const view of ['look', 'record', 'canals', 'history', 'sign']) {
        await page.tap(`.tab[data-act="${view}"]`);
        const { name, least } = await smallest(page);
        assert.ok(least >= size - 0.5, `${view}, glove ${glove}: “${name}” is ${least} px`);
      }
    }
  },
};
