// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Whole jobs, with what they ask of a hand counted: a sealed cooler with a clog from the counter to its owner, and the first label of a
// workshop that has nothing on record.

import { execFileSync, spawn } from 'node:child_process'
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { counted, expect, signIn } from './jobs.mjs'
import { freePort } from './serve.mjs'

// sheet is a hand at a job sheet.
const sheet = (page, hand) => {
  const phase = (n) => page.locator(`#phase${n}`)
  const open = async (n) => {
    if (!await phase(n).evaluate((e) => e.open)) await hand.press(phase(n).locator('summary').first())
  }
  return {
    open,
    // work ticks the steps of a phase, but for those named, each of which is on record at once.
    async work(n, figures = {}, leave = []) {
      await open(n)
      for (const [name, value] of Object.entries(figures)) {
        const field = phase(n).locator(`[name="${name}"]`)
        if (await field.evaluate((e) => e.tagName === 'SELECT')) await hand.pick(field, value)
        else await hand.type(field, value)
      }
      const left = phase(n).locator(`input[name=sheet-step]${leave.map((id) => `:not([value=${id}])`).join('')}`)
      for (let steps = await left.count(); steps > 0; steps--) {
        await hand.press(left.first())
        await page.waitForFunction(([all, many]) => document.querySelectorAll(all).length < many,
          [`#phase${n} input[name=sheet-step]${leave.map((id) => `:not([value=${id}])`).join('')}`, steps])
      }
    },
    // enter sends the form of an act; the day is the server's, or one that is not typed here.
    async enter(act, button, day) {
      const form = page.locator(`form[data-kept="${act}"]`)
      if (day) await form.locator('[name=day]').evaluate((e, d) => { e.value = d }, day)
      await page.locator('.jobsheet').evaluate((e) => { e.dataset.before = '' }) // what comes of it is another state of the sheet
      await hand.press(form.getByRole('button', { name: button, exact: true }))
      await page.locator('.jobsheet:not([data-before])').waitFor()
      const wrong = (await page.locator('main .problem, main .stopped').allInnerTexts()).join(' | ')
      expect(!wrong, `${act}: ${wrong.slice(0, 300)}`)
    },
  }
}

export const wholeJobs = [
  {
    name: 'a sealed cooler with a clog goes from the counter to its owner with at most 30 fields and 300 keystrokes',
    script: true,
    phone: true,
    async run(page, made) {
      await page.goto(`${made.base}/intake`)
      await signIn(page, made)
      await page.goto(`${made.base}/intake`)
      const hand = counted(page)
      const yesterday = new Date(Date.parse(`${made.day}T12:00:00Z`) - 864e5).toISOString().slice(0, 10)
      const work = sheet(page, hand)

      await hand.type(page.locator('#who'), `Rosa Quill ${Date.now() % 1e6}, 5550134`)
      await hand.pick(page.getByRole('radio', { name: 'desktop', exact: true }))
      await hand.type(page.locator('#intake-complaint'), 'hot and loud when it works')
      await hand.press(page.getByText('Consent, accessories, promised day'))
      await hand.pick(page.locator('#owner-mail-consent'))
      await hand.pick(page.locator('#owner-opening-consent'))
      await page.locator('[name="intake.day"]').evaluate((e, d) => { e.value = d }, yesterday)
      await hand.press(page.getByRole('button', { name: 'Put on record' }))
      await hand.press(page.getByRole('link', { name: 'Job sheet' }))

      await work.work(1, { 'found:look-fan': 'out', 'found:look-dust': 'clean', 'found:look-mount': 'tight' }, ['weigh-as-received'])
      await work.work(2, { 'value:drain': '128' }, ['weigh-drained'])
      await page.waitForFunction(() => document.querySelector('#drain-out').value === '128') // read once, asked once
      await hand.type(page.locator('#drain-left'), '20')
      await hand.type(page.locator('#drain-went'), 'drum 2')
      await work.enter('drain', 'Enter the drain', yesterday)
      await work.work(3)
      await hand.press(page.getByRole('link', { name: 'Enter what was found' }))
      for (const [name, value] of [['cause', 'clog'], ['severity', 'narrowed'], ['residue', 'white gel or powder']]) {
        await hand.pick(page.locator(`input[name=${name}][value="${value}"]`))
      }
      await page.locator('[name=day]').first().evaluate((e, d) => { e.value = d }, yesterday)
      await hand.press(page.getByRole('button', { name: 'Record the opening' }))
      await hand.press(page.getByRole('link', { name: 'Job sheet' }))

      await hand.press(page.getByRole('link', { name: "Put the machine's record right" }))
      await hand.pick(page.locator('input[name="loop.sealed"][value=yes]'))
      await hand.type(page.locator('#loop-wall'), '5')
      await hand.pick(page.locator('#loop-wetted-0'), 'copper')
      await hand.pick(page.locator('#loop-wetted-1'), 'aluminium')
      await hand.press(page.getByRole('button', { name: 'Put on record' }))
      await hand.press(page.getByRole('link', { name: 'Job sheet' }).first())

      await work.work(4, {}, ['rinse-end'])
      await work.enter('flush', 'Enter the flush', yesterday)
      await work.open(5)
      await hand.pick(page.locator('#poured-of'), { index: 1 })
      await hand.type(page.locator('#fill-poured'), '128')
      await work.enter('fill', 'Enter the fill', yesterday)
      await work.work(5, {}, ['weigh-filled', 'strength'])
      await work.work(6, { 'value:leak-run': '24' })
      await page.waitForFunction(() => document.querySelector('#leakcheck-hours').value === '24')
      await work.open(6)
      await hand.pick(page.locator('#leakcheck-dry'))
      await work.enter('leakcheck', 'Enter the leak check')
      await work.work(7)
      const figures = { 'before-die': '91', 'before-room': '20', 'before-power': '130', die: '58', room: '20', power: '130' }
      await work.work(8)
      for (const [field, value] of Object.entries(figures)) await hand.type(page.locator(`#proof-${field}`), value)
      for (const field of ['before-steady', 'steady']) await hand.pick(page.locator(`#proof-${field}`))
      await work.enter('proof', 'Enter the proof')
      await hand.press(page.getByRole('button', { name: 'Hand over', exact: true }))
      await page.waitForURL(/handover/)
      const said = await page.locator('main').innerText()
      expect(/Proved on/.test(said), `the sheet says "${said.slice(0, 200)}"`)
      console.log(`a sealed cooler with a clog: ${JSON.stringify(hand.count)}, ${hand.seconds()} s at stated pauses`)
      expect(hand.count.fields <= 30 && hand.count.keys <= 300, `took ${JSON.stringify(hand.count)}`)
    },
  },
  {
    name: 'a workshop with nothing on record has its first label within two minutes',
    expects: /asks http:\/\/127\.0\.0\.1/, // a workshop of its own
    script: true,
    phone: true,
    async run(page, made) {
      const folder = mkdtempSync(join(tmpdir(), 'fillmark-first-'))
      const port = await freePort()
      const server = spawn(made.program, ['serve', '--store', join(folder, 'register.db'), '--listen', `127.0.0.1:${port}`], {
        env: { HOME: folder }, stdio: ['ignore', 'ignore', 'pipe'],
      })
      try {
        await new Promise((resolve, reject) => {
          server.stderr.on('data', (said) => { if (String(said).includes('Fillmark serves')) resolve() })
          server.on('exit', (code) => reject(new Error(`serve ended with ${code}`)))
        })
        const said = execFileSync(made.program, ['technician', 'password', '--link', '--store', join(folder, 'register.db')], { env: { HOME: folder }, encoding: 'utf8' })
        await page.goto(said.match(/http\S+/)[0])
        const hand = counted(page)
        await hand.type(page.locator('#name'), 'Mo')
        await hand.type(page.locator('#password'), 'tin of green felt')
        await hand.type(page.locator('#again'), 'tin of green felt')
        await hand.press(page.getByRole('button', { name: 'Set the password' }))
        await hand.press(page.getByRole('link', { name: 'Take a machine in' }))
        await hand.type(page.locator('#who'), 'Rosa Quill, 5550134')
        await hand.pick(page.getByRole('radio', { name: 'desktop', exact: true }))
        await hand.type(page.locator('#intake-complaint'), 'hot and loud when it works')
        await hand.press(page.getByRole('button', { name: 'Put on record' }))
        await hand.press(page.getByRole('link', { name: 'Label' }))
        await page.locator('.label-card').first().waitFor()
        console.log(`the first label: ${JSON.stringify(hand.count)}, ${hand.seconds()} s at stated pauses`)
        expect(hand.seconds() <= 120, `took ${hand.seconds()} s`)
      } finally {
        server.removeAllListeners('exit')
        await new Promise((resolve) => {
          server.on('exit', resolve)
          server.kill('SIGTERM')
        })
        rmSync(folder, { recursive: true })
      }
    },
  },
]
