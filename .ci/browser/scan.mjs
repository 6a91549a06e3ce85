// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Labels held before a camera. Chromium's camera is fed from a file that is filmed here off the labels as the pages draw them.

import { createServer, request } from 'node:http'
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { expect, says, signIn } from './jobs.mjs'
import { kept, wire } from './offline.mjs'
import { launch } from './serve.mjs'

const phone = { viewport: { width: 360, height: 740 }, hasTouch: true }

// studio is a camera, and who films for it.
const studio = async (page, made, args = []) => {
  const folder = mkdtempSync(join(tmpdir(), 'fillmark-camera-'))
  const film = join(folder, 'seen.mjpeg')
  const context = await page.context().browser().newContext({ viewport: { width: 400, height: 300 }, deviceScaleFactor: 3.2, storageState: made.signedIn })
  const set = await context.newPage()
  const shot = () => set.screenshot({ type: 'jpeg', quality: 80 })
  // labelled is a picture of the label that a page prints.
  const labelled = async (path) => {
    await set.goto(`${made.base}${path}/label`)
    await set.locator('.label-card').evaluate((e) => { e.scrollIntoView() })
    return shot()
  }
  // coded is a picture of any QR code.
  const coded = async (text) => {
    await set.goto(`${made.base}/scan`)
    await set.evaluate(async (text) => {
      const { default: draw } = await import(document.getElementById('camera').dataset.with)
      document.body.innerHTML = draw(text, 'svg')
      document.querySelector('svg').style.width = '240px'
    }, text)
    return shot()
  }
  // show puts pictures before the camera, each for about a second, over and over; a camera that is switched on sees the first one first.
  const show = (...pictures) => writeFileSync(film, Buffer.concat(pictures.flatMap((p) => Array(30).fill(p))))
  show(await labelled(`/loops/${made.tag}`))
  const browser = await launch(made.day, ['--use-fake-device-for-media-stream', `--use-file-for-fake-video-capture=${film}`, ...args])
  const end = async () => {
    await browser.close()
    await context.close()
    rmSync(folder, { recursive: true })
  }
  return { browser, labelled, coded, show, end }
}

// inStudio does something with a page of a phone whose camera sees what is shown. Somebody is signed in there, but for a stranger's: one who
// signs out does not sign the others out.
const inStudio = async (page, made, { allowed = true, stranger = false, args, expects }, act) => {
  const at = await studio(page, made, args)
  try {
    const context = await at.browser.newContext({ ...phone, permissions: allowed ? ['camera'] : [], storageState: stranger ? undefined : made.signedIn })
    context.setDefaultTimeout(30_000)
    const bench = await context.newPage()
    const noticed = []
    bench.on('pageerror', (e) => noticed.push(e.message))
    bench.on('console', (m) => { if (!/Failed to load resource: the server responded with a status of 4/.test(m.text())) noticed.push(m.text()) })
    await act(bench, at)
    expect(noticed.every((n) => expects?.test(n)), `noticed: ${noticed}`)
  } finally {
    await at.end()
  }
}

// seen waits for the words, as long as a camera takes on a busy machine.
const seen = (page, words) => page.getByText(words).first().waitFor()

// touch presses what a glove hits: 64 px each way.
const touch = async (target) => {
  const box = await target.boundingBox()
  expect(box && box.width >= 64 && box.height >= 64, `${await target.innerText()} is ${box?.width} by ${box?.height} px`)
  await target.tap()
}

// proxied shows the pages under a name that is not a secure one.
const proxied = async (base) => {
  const server = createServer((asked, answer) => {
    const { host } = new URL(base)
    const headers = { ...asked.headers, host, ...(asked.headers.origin && { origin: base }) }
    const on = request(`${base}${asked.url}`, { method: asked.method, headers }, (told) => {
      answer.writeHead(told.statusCode, told.headers)
      told.pipe(answer)
    })
    asked.pipe(on)
  })
  await new Promise((resolve) => { server.listen(0, '127.0.0.1', resolve) })
  return { base: `http://bench.example:${server.address().port}`, close: () => server.close() }
}

export const scanJobs = [
  {
    name: 'from the home screen to the verdict in four touches: loop scanned, 40 pressed, bottle scanned or chosen',
    script: true,
    phone: true,
    async run(page, made) {
      await inStudio(page, made, {}, async (bench, { labelled, show }) => {
        const [loop, bottle] = [await labelled(`/loops/${made.tag}`), await labelled(`/shelf/${made.container}`)]
        show(loop)
        const before = made.run('loop', 'show', made.tag, '--json')
        for (const how of ['bottle scanned', 'bottle chosen from the list']) {
          show(loop)
          const began = performance.now()
          let touches = 1 // the icon on the home screen
          await bench.goto(`${made.base}/`)
          await touch(bench.getByRole('link', { name: 'Scan', exact: true }))
          touches++
          await seen(bench, 'How much is missing?')
                    for (const key of await bench.locator('main .key').all()) {
            const box = await key.boundingBox()
            expect(box.width >= 64 && box.height >= 64, `${await key.innerText()} is ${box.width} by ${box.height} px`)
          }
          // The camera still sees the loop when it goes on.
          show(...(how === 'bottle scanned' ? [loop, bottle] : [loop]))
          await touch(bench.getByRole('button', { name: '40 ml' }))
          touches++
          if (how !== 'bottle scanned') {
            await touch(bench.getByRole('link', { name: `No. ${made.container} ` }))
            touches++
          }
          await bench.locator('.verdict.big').waitFor()
          const machine = (performance.now() - began) / 1000
          const asked = new URL(bench.url())
          expect(asked.pathname === '/topup' && asked.searchParams.get('tag') === made.tag && asked.searchParams.get('room') === '40', `led to ${asked}`)
          expect(asked.searchParams.get('liquid1') === `container:${made.container}`, `led to ${asked}`)
          const verdict = (await bench.locator('.verdict.big').innerText()).toLowerCase()
          const told = JSON.parse(made.run('topup', made.tag, '--gap', '40ml', '--with', `${made.container}`, '--json'))
          expect(verdict === told.verdict, `the page says ${verdict}, and the command ${told.verdict}`)
          expect(touches <= 4, `took ${touches} touches`)
          console.log(`home screen to verdict, ${how}: ${touches} touches, ${(machine + touches).toFixed(1)} s at 1 s a touch (${machine.toFixed(1)} s of them the camera and the pages)`)
        }
        expect(made.run('loop', 'show', made.tag, '--json') === before, 'a check is on record')
      })
    },
  },
  {
    name: 'a code that is no label of ours is told and opens nothing, and the next label is read',
    script: true,
    phone: true,
    async run(page, made) {
      await inStudio(page, made, {}, async (bench, { labelled, coded, show }) => {
        const bottle = await labelled(`/shelf/${made.container}`)
        const foreign = await coded(`https://elsewhere.example/loops/${made.tag}`)
        show(foreign)
        await bench.goto(`${made.base}/scan`)
        await seen(bench, 'not of this workshop')
        show(foreign, bottle)
        await bench.reload() // the camera sees the refused one first, and waits for another
        await seen(bench, made.product)
        expect(new URL(bench.url()).pathname === `/shelf/${made.container}`, `led to ${bench.url()}`)
      })
    },
  },
  {
    name: 'without a connection a scanned loop shows what was judged beforehand, else its line of the list',
    script: true,
    phone: true,
    async run(page, made) {
      const line = await wire(made.base)
      const other = JSON.parse(made.run('loop', 'list', '--json')).items.find((l) => l.tag !== made.tag && l.owner_name && l.state.charge && l.place === 'in service')
      await inStudio(page, made, { stranger: true, expects: /ERR_|status of 503/ }, async (bench, { coded, show }) => {
        const [known, listed, foreign] = [await coded(`${line.base}/loops/${made.tag}`), await coded(`${line.base}/loops/${other.tag}`), await coded(`https://elsewhere.example/loops/${made.tag}`)]
        show(foreign)
        await bench.goto(`${line.base}/loops/${made.tag}/refill`)
        await signIn(bench, made)
        await kept(bench, `/loops/${made.tag}/refill`)
        await bench.goto(`${line.base}/`)
        for (const path of ['/register', '/scan']) await kept(bench, path)

        line.cut()
        await bench.goto(`${line.base}/scan`)
        await seen(bench, 'This page is shown when connected') // the code led nowhere
        show(known)
        await bench.getByRole('link', { name: 'Scan a label' }).tap()
        await seen(bench, 'Not connected. As of')
        expect(new URL(bench.url()).pathname === `/loops/${made.tag}/refill`, `led to ${bench.url()}`)
        expect(await bench.locator('#topups[open] .beforehand .verdict').count() >= 3, 'no top-up is judged beforehand')

        show(listed)
        await bench.goto(`${line.base}/scan`)
        await seen(bench, 'Not connected. As of')
        expect(bench.url() === `${line.base}/register#${other.tag}`, `led to ${bench.url()}`)
        const row = bench.locator(`[id="${other.tag}"]`)
        expect((await row.innerText()).includes(other.owner_name), 'its line is not the loop')
        expect(await row.getByRole('link', { name: 'on its job sheet' }).isHidden(), 'a sheet is promised that is not kept')
        expect(await bench.locator(`[id="kept-${made.tag}"]`).isVisible(), 'the sheet that is kept is not named')
        await bench.goto(`${line.base}/loops`)
        await seen(bench, 'Loops on record')

        await line.join()
        await bench.goto(`${line.base}/owners`)
        await bench.getByRole('button', { name: 'Sign out' }).click()
        await seen(bench, 'Sign in')
        line.cut()
        for (const path of ['/loops', '/register', '/scan', `/loops/${made.tag}`]) {
          await bench.goto(line.base + path)
          await seen(bench, 'This page is shown when connected')
          expect(await bench.locator('#kept').isHidden(), `${path}: something is said to be kept`)
        }
      })
    },
  },
  {
    name: 'a camera that is not allowed says what to do, and typing leads to the same verdict',
    script: true,
    phone: true,
    async run(page, made) {
      await inStudio(page, made, { allowed: false }, async (bench) => {
        await bench.goto(`${made.base}/scan`)
        await seen(bench, 'The camera is not allowed here')
        expect(await bench.locator('#camera').isHidden(), 'a picture is promised')
        await bench.locator('#code').fill(made.tag)
        await touch(bench.getByRole('button', { name: 'Open' }))
        await touch(bench.getByRole('button', { name: '60 ml' }))
        await seen(bench, 'The camera is not allowed here')
        await touch(bench.getByRole('link', { name: made.product }))
        await bench.locator('.verdict.big').waitFor()
      })
    },
  },
  {
    name: 'a page that is not secure says that it gets no camera, and what to do',
    script: true,
    phone: true,
    async run(page, made) {
      const { base, close } = await proxied(made.base)
      try {
        await inStudio(page, made, { stranger: true, args: ['--host-resolver-rules=MAP bench.example 127.0.0.1'] }, async (bench) => {
          await bench.goto(`${base}/scan`)
          await signIn(bench, made)
          await seen(bench, 'No camera on this page')
          await seen(bench, "phone's own camera")
        })
      } finally {
        close()
      }
    },
  },
  {
    name: 'a loop is typed in, another gap said and a bottle chosen, where there is no camera',
    async run(page, made) {
      await page.goto(`${made.base}/scan`)
      await signIn(page, made)
      await page.goto(`${made.base}/scan`)
      await page.locator('#code').fill('7K3QXX')
      await page.getByRole('button', { name: 'Open' }).click()
      await says(page, 'one is mistyped or two are swapped')
      await page.locator('#code').fill(made.tag.toLowerCase())
      await page.getByRole('button', { name: 'Open' }).click()
      await page.locator('#room').fill('25')
      await page.getByRole('button', { name: 'This much' }).click()
      await page.getByRole('link', { name: 'dilution water' }).click()
      await page.locator('.verdict.big').waitFor()
      expect(page.url().includes('room=25'), `led to ${page.url()}`)
    },
  },
]
