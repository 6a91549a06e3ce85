// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// What people do with a job sheet while there is no connection. The line to the pages is really cut: a browser's own switch for that
// does not reach its service worker.

import { connect, createServer } from 'node:net'
import { expect, says, signIn } from './jobs.mjs'

// wire is a line to the pages that can be cut and joined again, or held, so that nothing comes through until it is let go.
export const wire = async (base) => {
  const ends = new Set()
  const ways = []
  let held = false
  const server = createServer((near) => {
    const far = connect(Number(new URL(base).port), '127.0.0.1')
    for (const end of [near, far]) {
      ends.add(end)
      end.on('error', () => {})
      end.on('close', () => { ends.delete(end); near.destroy(); far.destroy() })
    }
    ways.push([near, far], [far, near])
    if (!held) near.pipe(far).pipe(near)
  })
  const hold = () => {
    held = true
    for (const [from, to] of ways) from.unpipe(to)
  }
  const letGo = () => {
    held = false
    for (const [from, to] of ways) from.pipe(to)
  }
  const listen = (port) => new Promise((resolve) => { server.listen(port, '127.0.0.1', resolve) })
  await listen(0)
  const { port } = server.address()
  const cut = () => {
    if (server.listening) server.close()
    for (const end of ends) end.destroy()
  }
  return { base: `http://127.0.0.1:${port}`, cut, join: () => listen(port), hold, letGo }
}

// kept waits until the sheet is kept for when there is no connection, and a step of it as one that is still to be ticked.
export const kept = async (page, path, step) => {
  const holds = async ([path, step]) => {
    for (const name of await caches.keys()) {
      const answer = name.startsWith('sheets') && await (await caches.open(name)).match(path)
      if (!answer) continue
      return !step || new DOMParser().parseFromString(await answer.text(), 'text/html').querySelector(`#${step} input[type=checkbox]`) !== null
    }
    return false
  }
  for (let tries = 0; !await page.evaluate(holds, [path, step]); tries++) {
    expect(tries < 100, `${path} is not kept`)
    await page.waitForTimeout(100)
  }
}

const unfold = (page) => page.locator('details').evaluateAll((all) => { for (const d of all) d.open = true })

// begun opens a loop's job sheet over a wire that can be cut, signed in, kept on the device, all of it unfolded.
const begun = async (page, made, tag) => {
  const [line, path] = [await wire(made.base), `/loops/${tag}/refill`]
  await page.goto(line.base + path)
  await signIn(page, made)
  await kept(page, path)
  await unfold(page)
  return { line, path }
}

const counts = (made, tag) => {
  const { history } = JSON.parse(made.run('loop', 'show', tag, '--json'))
  return (kind) => history.filter((e) => e.kind === kind).length
}

const waits = (page, count) => page.locator('#waiting', { hasText: count === 0 ? /./ : new RegExp(`recorded: ${count}\\b`) }).waitFor({ state: count === 0 ? 'hidden' : 'visible' })

// ticked are steps of the sheet that want no figure and are open.
const open = (page) => page.locator('.work li:not(:has(.figure-field)):not(.done)')

const online = (page) => page.evaluate(() => dispatchEvent(new Event('online')))

// signInAs changes who is signed in in this browser.
export const signInAs = async (page, base, made, technician) => {
  await page.goto(`${base}/owners`)
  await page.getByRole('button', { name: 'Sign out' }).click()
  await signIn(page, { ...made, technician })
  await page.getByRole('button', { name: 'Sign out' }).waitFor({ state: 'attached' })
}

export const cutOff = /ERR_|status of 503|asks http:\/\/127\.0\.0\.1:/

export const offlineJobs = [
  {
    name: 'a technician loses the connection and the tab over a job sheet, and no figure',
    script: true, // without one each form is sent as it stands
    expects: cutOff,
    async run(page, made) {
      const { line, path } = await begun(page, made, made.tag)
      const sheet = line.base + path
      // A tick is on record at once, and can be taken back.
      const id = await open(page).first().getAttribute('id')
      await page.locator(`#${id} input[type=checkbox]`).check()
      await page.locator(`#${id}.done`).waitFor()
      await page.goto(sheet)
      await unfold(page)
      expect(await page.locator(`#${id}.done`).count() === 1, 'the tick is gone with the page')
      await page.locator(`#${id}`).getByRole('button', { name: 'Undo' }).click()
      await page.locator(`#${id} input[type=checkbox]`).waitFor({ state: 'attached' })
      await kept(page, path, id)
      const before = counts(made, made.tag)

      line.cut()
      await page.reload()
      await says(page, 'Not connected. As of')
      expect(await page.locator('#topups[open] .beforehand .verdict').count() >= 3, 'no top-up is judged beforehand')
      await unfold(page)
      await page.getByLabel('Left in the loop, ml').fill('12')
      await page.getByRole('button', { name: 'Work out the amounts' }).click()
      await says(page, 'Not connected. As of')
      await unfold(page)
      expect(await page.getByLabel('Left in the loop, ml').inputValue() === '12', 'what was asked is gone')

      await page.locator('#clean-agent input').first().check()
      await page.locator('#clean-note').fill('foamed a little')
      await page.getByRole('button', { name: 'Enter the cleaning' }).click()
      await waits(page, 1)
      await page.waitForFunction(() => document.querySelector('#clean-note').value === '') // free for the next one
      await page.locator(`#${id} input[type=checkbox]`).check()
      await waits(page, 2)
      const other = await open(page).nth(1).getAttribute('id')
      await page.locator(`#${other} input[type=checkbox]`).check()
      await waits(page, 3)
      await page.locator(`#${other}`).getByRole('button', { name: 'Undo' }).click()
      await waits(page, 2)
      await page.locator('#flush-note').fill('typed, not pressed')

      // The tab is gone; two otitsFigure open the sheet.
      const [one, two] = [await page.context().newPage(), await page.context().newPage()]
      await page.close()
      await one.goto(`${line.base}/`)
      await says(one, 'This page is shown when connected')
      await one.getByRole('link', { name: made.tag }).click()
      await two.goto(`${line.base}/loops/${made.tag}`)
      for (const tab of [one, two]) {
        await waits(tab, 2)
        await says(tab, 'foamed a little')
        expect(await tab.locator('#flush-note').inputValue() === 'typed, not pressed', 'what was typed is gone with the tab')
        expect(await tab.locator(`#${id} input[type=checkbox]`).isChecked(), 'the tick is gone with the tab')
        expect(!await tab.locator(`#${other} input[type=checkbox]`).isChecked(), 'what was undone is back')
      }
      expect(counts(made, made.tag)('clean') === before('clean'), 'something is on record without a connection')

      await line.join()
      await Promise.all([online(one), online(two)])
      await waits(one, 0)
      await waits(two, 0)
      await one.locator(`#${id}.done`).waitFor({ state: 'attached' })
      await two.locator('#offline').waitFor({ state: 'hidden' })
      const after = counts(made, made.tag)
      expect(after('clean') === before('clean') + 1, `one cleaning was entered, and ${after('clean') - before('clean')} are on record`)
      expect(after('step') === before('step') + 1, `one step was ticked, and ${after('step') - before('step')} are on record`)
      expect(await one.locator('#flush-note').inputValue() === 'typed, not pressed', 'what was typed is gone with the connection')
      await one.goto(`${line.base}/`)
      expect(await one.getByText('Not yet recorded').count() === 0, 'something is said to wait')
      line.cut()
    },
  },
  {
    name: 'a stop that nobody saw without a connection is shown later, and what came after it waits',
    script: true,
    expects: cutOff,
    async run(page, made) {
      const { line } = await begun(page, made, made.wet)
      const before = counts(made, made.wet)
      line.cut()
      await page.locator('#leakcheck-hours').fill('2')
      await page.locator('#leakcheck-wet').check()
      await page.getByRole('button', { name: 'Enter the leak check' }).click()
      await waits(page, 1)
      await page.locator('#handover-note').fill('ring twice')
      await page.getByRole('button', { name: 'Hand over', exact: true }).click()
      await waits(page, 2)
      const id = await open(page).first().getAttribute('id')
      await page.locator(`#${id} input[type=checkbox]`).check()
      await waits(page, 3)

      await line.join()
      await online(page)
      await waits(page, 2) // one is recorded, the next refused: only then the page is to say why
      await says(page, 'a leak check ended wet')
      expect(await page.locator('#handover-note').inputValue() === 'ring twice', 'what was typed is gone')
      let now = counts(made, made.wet)
      expect(now('leak check') === before('leak check') + 1, 'what came before the stop is not on record')
      expect(now('step') === before('step'), 'what came after the stop did not wait')
      expect(now('hand-over') === before('hand-over'), 'it was handed over')

      // Opened again it is judged again, and nothing of it is lost.
      await page.reload()
      await says(page, 'a leak check ended wet')
      expect(await page.locator('#handover-note').inputValue() === 'ring twice', 'what was typed is gone with the page')
      await page.locator('form[data-kept=handover]').getByRole('button', { name: 'Undo' }).click()
      await waits(page, 0)
      await page.locator(`#${id}.done`).waitFor({ state: 'attached' })
      now = counts(made, made.wet)
      expect(now('step') === before('step') + 1, 'what waited is not on record')
      expect(now('hand-over') === before('hand-over'), 'it was handed over')
      line.cut()
    },
  },
  {
    name: 'the amounts of one question are not shown for another without a connection',
    script: true,
    expects: cutOff,
    async run(page, made) {
      const { line, path } = await begun(page, made, made.tag)
      await page.goto(`${line.base}${path}?mix=yes&left=5&want=30&concentrate=95`)
      const [left, poured] = [page.getByLabel('Left in the loop, ml'), page.getByLabel('Went in, ml')]
      const answered = page.locator('#mix-answer .verdict')
      const first = await poured.inputValue()
      expect(await answered.count() === 1 && first !== '', 'the mix is not worked out')
      await page.waitForFunction(async (path) => (await caches.match(path))?.headers.get('X-Search') === location.search, path)

      line.cut()
      await page.reload()
      await says(page, 'Not connected. As of')
      expect(await answered.count() === 1 && await poured.inputValue() === first, 'what was worked out is gone')
      await unfold(page)
      await left.fill('55')
      await says(page, 'this question is answered when connected')
      await page.getByRole('button', { name: 'Work out the amounts' }).click()
      await page.waitForURL(/left=55/)
      await unfold(page)
      await says(page, 'this question is answered when connected')
      expect(await left.inputValue() === '55', 'what was asked is gone')
      expect(await answered.count() === 0, 'the answer to another question is shown')
      expect(await poured.inputValue() === '', 'the amount of another question is offered')

      await line.join()
      await online(page)
      await answered.waitFor()
      expect(!['', first].includes(await poured.inputValue()), `the question is not answered: ${await poured.inputValue()} ml`)
      line.cut()
    },
  },
  {
    name: 'a figure that is put right while it waits or is on its way is the one on record, and nothing moves under the hand',
    script: true,
    expects: cutOff,
    async run(page, made) {
      const { line } = await begun(page, made, made.tag)
      const figured = page.locator('.work li:not(.done):has(.figure-field input):not(:has(select))').first()
      const id = await figured.getAttribute('id')
      const [tick, figure] = [page.locator(`#${id} input[type=checkbox]`), page.locator(`#${id} .figure-field input`)]
      const onRecord = () => JSON.parse(made.run('loop', 'show', made.tag, '--json')).history.filter((e) => e.kind === 'step' && `step-${e.step.step}` === id).map((e) => e.step.value)
      const before = onRecord().length

      line.cut()
      await figure.fill('812')
      await tick.check()
      await waits(page, 1)
      await figure.fill('82')
      const phase = page.locator('details.phase:not(:has(.waits))').last()
      const waiting = page.locator('details.phase', { has: page.locator(`#${id}`) })
      await phase.evaluate((e) => { e.open = false })
      for (let n = 0; n < 2; n++) {
        await online(page)
        await page.waitForTimeout(400)
      }
      expect(await figure.inputValue() === '82', `somebody types 82 something, and the field says ${await figure.inputValue()}`)
      await figure.blur()
      await waiting.evaluate((e) => { e.open = false })
      await online(page)
      await page.waitForTimeout(400)
      expect(!await waiting.evaluate((e) => e.open), 'a phase that somebody closed is open again')

      await line.join()
      line.hold()
      await unfold(page)
      await figure.fill('821')
      await figure.blur()
      await online(page)
      await page.waitForTimeout(400)
      await page.locator('#flush-note').fill('first')
      line.letGo()
      await waits(page, 0)
      expect(onRecord().at(-1) === 821, `821 was entered last, and ${onRecord().slice(before)} are on record`)

      line.hold()
      await page.getByRole('button', { name: 'Enter the flush' }).click()
      await page.locator('#flush-note').fill('second')
      const flushes = counts(made, made.tag)('flush')
      line.letGo()
      await waits(page, 0)
      expect(await page.locator('#flush-note').inputValue() === 'second', 'what was typed while the first was sent is gone')
      await page.getByRole('button', { name: 'Enter the flush' }).click()
      await page.waitForFunction(() => document.querySelector('#flush-note').value === '')
      await waits(page, 0)
      expect(counts(made, made.tag)('flush') === flushes + 2, `two flushes were entered, and ${counts(made, made.tag)('flush') - flushes} are on record`)
      line.cut()
    },
  },
  {
    name: 'an entry that is refused when the next was begun in its form is neither lost nor mixed with that one',
    script: true,
    expects: cutOff,
    async run(page, made) {
      const { line } = await begun(page, made, made.tag)
      const before = counts(made, made.tag)('leak check')
      const [hours, note, enter] = [page.locator('#leakcheck-hours'), page.locator('#leakcheck-note'), page.getByRole('button', { name: 'Enter the leak check' })]
      line.cut()
      await hours.fill('9000')
      await page.locator('#leakcheck-dry').check()
      await enter.click()
      await waits(page, 1)
      await page.waitForFunction(() => document.querySelector('#leakcheck-hours').value !== '9000') // free for the next one
      await note.fill('the second')

      await line.join()
      await online(page)
      await says(page, 'Refused, and not recorded')
      await says(page, 'less than')
      await page.locator('#offline').waitFor({ state: 'hidden' })
      await unfold(page)
      expect(await hours.inputValue() !== '9000', 'what was refused is mixed into the next')
      expect(await note.inputValue() === 'the second', 'what was typed is gone')
      await hours.fill('2')
      await page.locator('#leakcheck-dry').check()
      await enter.click()
      await waits(page, 2)
      await page.waitForFunction(() => document.querySelector('#leakcheck-hours').value === '9000') // to be put right
      expect(await note.inputValue() === '', 'the next is mixed into what was refused')
      await hours.fill('3')
      await enter.click()
      await waits(page, 0)
      const { history } = JSON.parse(made.run('loop', 'show', made.tag, '--json'))
      const checks = history.filter((e) => e.kind === 'leak check').slice(before).map((e) => [e.leak_check.hours, e.note ?? ''])
      expect(`${checks}` === '3,,2,the second', `on record are ${checks}`)
      line.cut()
    },
  },
  {
    name: 'a figure that is put right after its answer was lost is on record, and a step that is unticked is not',
    script: true,
    expects: cutOff,
    async run(page, made) {
      const { tag } = JSON.parse(made.run('intake', '--kind', 'donor unit', '--model', 'T2', '--json'))
      const { line } = await begun(page, made, tag)
      const id = await page.locator('.work li:not(.done):has(.figure-field input):not(:has(select))').first().getAttribute('id')
      const [tick, figure] = [page.locator(`#${id} input[type=checkbox]`), page.locator(`#${id} .figure-field input`)]
      const onRecord = () => JSON.parse(made.run('loop', 'show', tag, '--json')).history.filter((e) => e.kind === 'step').map((e) => e.step.value)
      // loseAnswer lets the next post come through, and nothing of what is answered.
      const loseAnswer = () => page.evaluate(() => {
        const whole = globalThis.fetch
        globalThis.fetch = async (address, asked) => {
          const answer = await whole(address, asked)
          if (asked?.method !== 'POST') return answer
          globalThis.fetch = whole
          throw new TypeError('lost')
        }
      })
      await loseAnswer()
      await figure.fill('812')
      await tick.check()
      await waits(page, 1)
      expect(`${onRecord()}` === '812', `on record is ${onRecord()}`)
      await figure.fill('82')
      await figure.blur()
      await waits(page, 0)
      expect(`${onRecord()}` === '812,82', `82 was entered last, and on record is ${onRecord()}`)

      const next = await page.locator('.work li:not(.done):has(.figure-field input):not(:has(select))').first().getAttribute('id')
      const [second, itsFigure] = [page.locator(`#${next} input[type=checkbox]`), page.locator(`#${next} .figure-field input`)]
      await loseAnswer()
      await itsFigure.fill('7')
      await second.check()
      await waits(page, 1)
      line.cut()
      await itsFigure.fill('70')
      await itsFigure.blur()
      await waits(page, 2)
      await second.uncheck()
      await waits(page, 0)
      await line.join()
      await online(page)
      await page.locator('#offline').waitFor({ state: 'hidden' })
      expect(!onRecord().includes(70), 'a step that was unticked is on record')
      line.cut()
    },
  },
  {
    name: 'what is refused of the whole loop says why while it waits',
    script: true,
    expects: cutOff,
    async run(page, made) {
      const { tag } = JSON.parse(made.run('intake', '--kind', 'donor unit', '--model', 'T3', '--json'))
      const { line } = await begun(page, made, tag)
      line.cut()
      await page.locator('#leakcheck-hours').fill('2')
      await page.locator('#leakcheck-dry').check()
      await page.getByRole('button', { name: 'Enter the leak check' }).click()
      await waits(page, 1)
      await open(page).first().locator('input[type=checkbox]').check()
      await waits(page, 2)
      made.run('loop', 'drain', tag, '--out', '40ml', '--left', '2ml', '--went', 'drum 2')
      await line.join()
      await online(page)
      await says(page, 'Refused, and not recorded')
      const said = await page.locator('.waits', { hasText: 'Refused' }).textContent()
      expect(/a loop that holds something/.test(said), `it does not say why: ${said}`)
      line.cut()
    },
  },
  {
    name: 'the question of the mix outlives its tab, a draft that was thrown away comes back, and an old one goes only when that was said',
    script: true,
    async run(page, made) {
      const path = `/loops/${made.tag}/refill`
      await page.goto(made.base + path)
      await signIn(page, made)
      await unfold(page)
      await page.getByLabel('Left in the loop, ml').fill('7')
      await page.locator('#flush-note').fill('foamed')
      await page.waitForFunction((path) => idbKeyval.get(`drafts ${path}`).then((all) => JSON.stringify(all ?? {}).includes('foamed') && all.mix?.values.left === '7'), path)
      const next = await page.context().newPage()
      await page.close()
      const asked = next.waitForResponse((r) => new URL(r.url()).searchParams.get('left') === '7')
      await next.goto(made.base + path)
      await asked
      const note = next.locator('#flush-note')
      const flush = next.locator('form[data-kept=flush]')
      expect(await note.inputValue() === 'foamed', 'what was typed is gone')
      await flush.getByRole('button', { name: 'Throw it away' }).click()
      await says(next, 'Thrown away.')
      expect(await note.inputValue() === '', 'what was thrown away is still there')
      await flush.getByRole('button', { name: 'Undo' }).click()
      await says(next, 'not recorded yet')
      expect(await note.inputValue() === 'foamed', 'it does not come back')

      const aged = (path) => idbKeyval.update(`drafts ${path}`, (all) => ({ ...all, flush: { ...all.flush, at: Date.now() - 91 * 864e5 } }))
      await next.evaluate(aged, path)
      await next.reload()
      await unfold(next)
      await says(next, 'more than 90 days ago')
      expect(await note.inputValue() === 'foamed', 'an old draft is gone before anything was said')
      await next.reload()
      await next.waitForFunction((path) => idbKeyval.get(`drafts ${path}`).then((all) => !all?.flush), path)
      expect(await note.inputValue() === '', 'an old draft stays for ever')
    },
  },
  {
    name: 'a sheet that was opened before is shown where the line is hardly there',
    script: true,
    expects: cutOff,
    async run(page, made) {
      const { line } = await begun(page, made, made.tag)
      line.hold()
      await page.reload()
      await says(page, 'Not connected. As of')
      line.letGo()
      await online(page)
      await page.locator('#offline').waitFor({ state: 'hidden' })
      line.cut()
    },
  },
  {
    name: 'what one technician entered is not sent while another is signed in',
    script: true,
    expects: cutOff,
    async run(page, made) {
      const other = `Cy ${[...`${Date.now()}`].map((n) => 'abcdefghij'[n]).join('')}`
      made.run('technician', 'add', other)
      const { line, path } = await begun(page, made, made.tag)
      const before = counts(made, made.tag)('step')
      const steps = () => counts(made, made.tag)('step') - before
      const id = await open(page).first().getAttribute('id')
      const figured = page.locator('.work li:has(input[type=checkbox]):has(.figure-field input):not(:has(select))').first()
      const typed = await figured.getAttribute('id')

      line.cut()
      await page.locator(`#${id} input[type=checkbox]`).check()
      await waits(page, 1)
      await figured.locator('input[type=checkbox]').check()
      await figured.locator('.figure-field input').fill('21') // and the tab is gone before the field is left
      const draft = (path) => idbKeyval.get(`drafts ${path}`).then((all) => JSON.stringify(all ?? {}).includes('"21"'))
      await page.waitForFunction(draft, path)
      const next = await page.context().newPage()
      await page.close()

      await line.join()
      await signInAs(next, line.base, made, other)
      await next.goto(line.base + path)
      await says(next, `entered by ${made.technician}`)
      await waits(next, 1)
      expect(await next.locator(`#${typed} .figure-field input`).inputValue() === '21', 'what was typed is gone')
      await online(next)
      await next.waitForTimeout(1000)
      expect(steps() === 0, `${steps()} steps are recorded in another's name`)

      await signInAs(next, line.base, made, made.technician)
      await next.goto(line.base + path)
      await waits(next, 0)
      await next.locator(`#${id}.done`).waitFor({ state: 'attached' })
      expect(await next.locator(`#${typed} .figure-field input`).inputValue() === '21', 'what was typed is gone')
      expect(steps() === 1, `one step was entered, and ${steps()} are on record`)
      line.cut()
    },
  },
  {
    name: 'a device that keeps nothing says so, and leaves what was typed in its form',
    script: true,
    expects: cutOff,
    async run(page, made) {
      await page.addInitScript(() => { IDBObjectStore.prototype.put = () => { throw new DOMException('full', 'QuotaExceededError') } })
      const { line } = await begun(page, made, made.tag)
      const before = counts(made, made.tag)('clean')
      line.cut()
      await page.locator('#clean-agent input').first().check()
      await page.locator('#clean-note').fill('foamed a little')
      await page.getByRole('button', { name: 'Enter the cleaning' }).click()
      await waits(page, 1)
      await says(page, 'Not kept on this device')
      expect(await page.locator('#clean-note').inputValue() === 'foamed a little', 'what was typed is gone')
      await line.join()
      await online(page)
      await page.locator('#waiting', { hasText: 'Not yet recorded' }).waitFor({ state: 'hidden' })
      expect(counts(made, made.tag)('clean') === before + 1, 'the cleaning is not on record once')
      line.cut()
    },
  },
  {
    name: 'an undo after the sign-in has ended asks for it again, and the sheet answers as before then',
    script: true,
    expects: cutOff,
    async run(page, made) {
      const path = `/loops/${made.tag}/refill`
      await page.goto(made.base + path)
      await signIn(page, made)
      await unfold(page)
      const id = await open(page).first().getAttribute('id')
      const was = await page.context().cookies()
      await page.context().clearCookies()
      await page.locator(`#${id} input[type=checkbox]`).check()
      await waits(page, 1)
      await page.locator(`#${id}`).getByRole('button', { name: 'Undo' }).click()
      await says(page, 'sign in again to see this sheet as it is now')
      expect(!await page.locator('#offline').isVisible(), 'the line is up, and the sheet says that it is not connected')
      await page.context().addCookies(was)
      await online(page)
      await waits(page, 0)
      // The sheet was asked for again: its question is answered while somebody types.
      await unfold(page)
      const answered = page.waitForResponse((r) => new URL(r.url()).searchParams.get('left') === '12')
      await page.getByLabel('Left in the loop, ml').fill('12')
      await answered
    },
  },
  {
    name: 'a device that keeps nothing says so beside a sign-in that has ended',
    script: true,
    async run(page, made) {
      await page.addInitScript(() => { IDBObjectStore.prototype.put = () => { throw new DOMException('full', 'QuotaExceededError') } })
      await page.goto(`${made.base}/loops/${made.tag}/refill`)
      await signIn(page, made)
      await unfold(page)
      const id = await open(page).first().getAttribute('id')
      await page.context().clearCookies()
      await page.locator(`#${id} input[type=checkbox]`).check()
      await waits(page, 1)
      await page.locator(`#${id}`).getByRole('button', { name: 'Undo' }).click()
      await says(page, 'sign in again to see this sheet as it is now')
      await says(page, 'Not kept on this device')
    },
  },
  {
    name: 'a sign-out leaves no job sheet on the device',
    script: true,
    expects: cutOff,
    async run(page, made) {
      const { line, path } = await begun(page, made, made.tag)
      await page.goto(`${line.base}/owners`)
      const names = await page.evaluate(async () => (await Promise.all((await caches.keys()).map(async (name) => (await (await caches.open(name)).keys()).map((r) => new URL(r.url).pathname)))).flat())
      expect(names.includes(path) && names.every((name) => name === path || name === '/not-connected' || name.startsWith('/static/')), `kept beside the sheet: ${names}`)
      await page.getByRole('button', { name: 'Sign out' }).click()
      await says(page, 'Sign in')
      expect(!await page.evaluate(async () => (await caches.keys()).some((name) => name.startsWith('sheets'))), 'job sheets are still there')
      line.cut()
      await page.goto(line.base + path)
      await says(page, 'This page is shown when connected')
      expect(await page.getByRole('link', { name: made.tag }).count() === 0, 'a sheet is said to be kept')
    },
  },
]
