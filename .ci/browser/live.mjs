// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// What is answered while somebody types: no verdict and no amount stands beside a question that it does not answer, and nothing that
// somebody typed, chose or has under the hand is taken away.

import { crowd, expect, says, signIn } from './jobs.mjs'
import { cutOff, wire } from './offline.mjs'

const unfold = (page) => page.locator('details').evaluateAll((all) => { for (const d of all) d.open = true })

export const liveJobs = [
  {
    name: 'the fill offers the amounts of the mix that is shown, and no earlier one',
    script: true,
    async run(page, made) {
      const path = `${made.base}/loops/${made.tag}/refill`
      await page.goto(path)
      await signIn(page, made)
      await page.goto(`${path}?mix=yes&left=5&want=45&concentrate=95`)
      await unfold(page)
      const [want, mass, poured] = [page.getByLabel('or strength wanted, mass %'), page.locator('#fill-mass'), page.locator('#fill-poured')]
      expect(Math.abs(Number(await mass.inputValue()) - 45) < 1, `the fill offers ${await mass.inputValue()} % for 45 %`)
      await page.locator('#fill-lot').fill('L 7')
      const answered = page.waitForResponse((r) => new URL(r.url()).searchParams.get('want') === '30')
      await want.fill('30')
      await answered
      await page.waitForTimeout(500)
      expect(Math.abs(Number(await mass.inputValue()) - 30) < 1, `the fill says ${await mass.inputValue()} %, and the mix is one of 30 %`)
      expect(await page.locator('#fill-lot').inputValue() === 'L 7', 'what was typed is gone')
      expect(/want=30/.test(await page.locator('form[data-kept=fill] > [name=q]').inputValue()), 'the fill leads back to the question before')
      const live = [await mass.inputValue(), await poured.inputValue()]
      await page.reload()
      expect(`${[await mass.inputValue(), await poured.inputValue()]}` === `${live}`, `opened again it offers ${await poured.inputValue()} ml, and ${live} stood there`)
      await unfold(page)
      await want.fill('strong')
      await page.locator('#want-problem').waitFor()
      expect(await mass.inputValue() === '', `the fill says ${await mass.inputValue()} %, and no mix is shown`)
    },
  },
  {
    name: 'no verdict stands beside a question that it does not answer, and what was typed into it goes on',
    script: true,
    expects: cutOff,
    async run(page, made) {
      const line = await wire(made.base)
      const path = `${line.base}/topup?ask=yes&tag=${made.tag}&liquid1=water&room=`
      await page.goto(`${path}8`)
      await signIn(page, made)
      await page.goto(`${path}8`)
      await unfold(page)
      const [room, gap, verdict] = [page.locator('#room'), page.locator('#poured-gap'), page.locator('#answer .verdict')]
      const carried = () => page.locator('#answer input[type=hidden][name=room]').inputValue()
      await gap.fill('3')
      await room.fill('9')
      expect(!await verdict.isVisible(), 'the verdict on 8 ml stands beside 9 ml')
      await gap.evaluate((e) => e.focus()) // the hand goes on before the answer is there
      await page.waitForURL(/room=9/)
      expect(await carried() === '9', `what is entered is about ${await carried()} ml`)
      expect(await verdict.isVisible() && await gap.inputValue() === '3', 'what was typed is gone')

      line.cut()
      await room.fill('7')
      await says(page, 'Not connected: this question is answered when connected')
      expect(await page.locator('#answer form').count() === 0 && await verdict.count() === 0, 'another verdict can be entered')
      await line.join()
      await room.fill('6')
      await verdict.waitFor()
      expect(await gap.inputValue() === '3', 'what was typed is gone with the connection')
      await page.context().clearCookies()
      await room.fill('5')
      await says(page, 'your sign-in has ended')
      expect(await verdict.count() === 0, 'another verdict stands there')
      line.cut()
    },
  },
  {
    name: 'who was chosen is not the owner any more while another name is typed',
    script: true,
    async run(page, made) {
      await page.goto(`${made.base}/intake`)
      await signIn(page, made)
      await page.locator('#who').pressSequentially(made.tag)
      const chosen = page.locator('input[name=is]:checked')
      await page.getByRole('radio', { name: 'this machine again' }).first().check()
      expect(await chosen.count() === 1, 'nothing is chosen')
      await page.locator('#who').pressSequentially('x')
      expect(await chosen.count() === 0, 'the machine of another name is chosen')
      await page.locator('#found :text("Nobody on record")').waitFor()
    },
  },
  {
    name: 'on the list a visit done leaves what else its owner has to do',
    script: true,
    phone: true,
    expects: cutOff,
    async run(page, made) {
      const [tag, other] = crowd(made, 1, 2)
      const line = await wire(made.base)
      await page.goto(`${line.base}/`)
      await signIn(page, made)
      await page.goto(`${line.base}/`)
      while (await page.locator(`#due [data-line^="${tag} "]`).count() === 0) {
        const had = await page.locator('#due .person').count()
        await page.locator('#due a[rel=next]').click()
        await page.waitForFunction((had) => document.querySelectorAll('#due .person').length > had, had)
      }
      const ids = await page.locator('#due [id]').evaluateAll((all) => all.map((e) => e.id))
      expect(new Set(ids).size === ids.length, 'somebody stands on the page twice')
      const id = await page.locator('#due .person', { has: page.locator(`[data-line^="${tag} "]`) }).getAttribute('id')
      const block = page.locator(`#${id}`)
      expect(await block.locator(`[data-line^="${other} "]`).count() > 0, 'the other machine stands elsewhere')
      const link = block.locator(`a[data-here][href*="${tag}"]`).first()
      line.cut()
      await link.click()
      await says(page, 'No connection. Press again')
      await line.join()
      await link.evaluate((e) => { e.click(); e.click() })
      await block.locator('.here input[name=die]').first().fill('47')
      expect(await block.locator('.here').count() === 1, 'two presses open two forms')
      await block.locator('.here select[name=verdict]').selectOption('good')
      await block.getByRole('button', { name: 'Put on record' }).click()
      await page.locator(`#${id}.dealt`).waitFor()
      expect(await block.locator(`[data-line^="${other} "]`).count() > 0, 'what else is to be done is gone')
      await block.getByRole('button', { name: 'Take it back' }).click()
      await page.locator(`#${id}:not(.dealt)`).waitFor()
      expect(await block.locator(`[data-line^="${tag} "]`).count() > 0, 'what was taken back is not there again')
      expect(page.url() === `${line.base}/`, 'the page was left')
      line.cut()
    },
  },
  {
    name: 'by keys alone a tick leaves the hand where it was, and a search leaves nothing behind',
    script: true,
    async run(page, made) {
      const path = `${made.base}/loops/${made.tag}/refill`
      await page.goto(path)
      await signIn(page, made)
      await unfold(page)
      const id = await page.locator('.work li:not(:has(.figure-field)):not(.done)').first().getAttribute('id')
      await page.locator(`#${id} input[type=checkbox]`).focus()
      await page.keyboard.press('Space')
      await page.locator(`#${id}.done`).waitFor()
      expect(await page.evaluate(() => document.activeElement.closest('li')?.id) === id, 'the focus is gone with the tick')
      await page.keyboard.press('Enter') // takes it back
      await page.locator(`#${id} input[type=checkbox]`).waitFor({ state: 'attached' })
      await page.locator('#work-item').fill('a pump')
      await page.locator('#work-item').blur()
      await page.keyboard.press('/')
      await page.waitForTimeout(500)
      expect(page.url().startsWith(path), 'the search left what was typed')
    },
  },
]
