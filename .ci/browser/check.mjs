// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Visits every page of a running `fillmark try` in Chromium: phone and desk, by day and by night, with and without script. No page may break
// a rule of axe-core or of the Nu HTML checker, ask anybody else for anything, say anything on the console or be wider than the screen. Then
// what a workshop prints is printed and read back, and the jobs are done as people do them.
//
//   node check.mjs PROGRAM DAY            PROGRAM is the fillmark to run, DAY the day it takes for today, such as 2026-11-28
//   node check.mjs PROGRAM DAY --jobs     only the prints and the jobs that hang on the day: how a page is built, how a line is lost and what
//                                         a camera sees do not

import { execFileSync, spawnSync } from 'node:child_process'
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { dirname, join } from 'node:path'
import { createRequire } from 'node:module'
import { pages } from './pages.mjs'
import { jobs } from './jobs.mjs'
import { liveJobs } from './live.mjs'
import { offlineJobs } from './offline.mjs'
import { scanJobs } from './scan.mjs'
import { wholeJobs } from './whole.mjs'
import { checkPrints } from './prints.mjs'
import { launch, lettersIn, loopsOf, start } from './serve.mjs'

const require = createRequire(import.meta.url)
const axe = readFileSync(require.resolve('axe-core/axe.min.js'), 'utf8')
const vnu = join(dirname(require.resolve('vnu-jar/package.json')), 'build/dist/vnu.jar')

const screens = [
  { name: 'phone', viewport: { width: 360, height: 740 }, hasTouch: true },
  { name: 'desk', viewport: { width: 1280, height: 900 } },
]
// The narrowest that a page must fit (WCAG 2.2, 1.4.10); nothing else depends on it.
const narrow = { name: 'narrow', viewport: { width: 320, height: 640 }, hasTouch: true }
const password = 'copper plate wet felt'

let passed = 0
const failures = []
const check = (name, problems) => {
  if (problems.length === 0) passed++
  else failures.push(`${name}: ${problems.join('\n    ')}`)
}

// ownersIn finds the owners who are asked something: their page and the link that stops their mail, once each, whatever the number of letters.
const ownersIn = (mail) => {
  const owners = new Map()
  for (const letter of lettersIn(mail)) {
    const page = letter.match(/http:\/\/[\d.:]+(\/o\/[\w-]+)\?answer=/)?.[1]
    const stop = letter.match(/http:\/\/[\d.:]+(\/stop\/[\w-]+)/)?.[1]
    if (page && stop) owners.set(letter.match(/^To: (.*)$/m)[1], { page, stop })
  }
  return [...owners.values()]
}

// askedForLook is the owner's page where it lets them answer that all is fine, else nothing: who has answered so is not asked again.
const askedForLook = async (base, { page }) => {
  const text = await (await fetch(`${base}${page}?answer=fine`)).text()
  return text.includes('>All looks fine</button>') ? text : ''
}

// madeBy collects what the visits need: links as owners got them, a tag, and a technician, from whose moment on the bench is closed.
const madeBy = async (server, program, day) => {
  const { base, mail } = server
  const items = await loopsOf(server)
  const looks = []
  let shown = ''
  for (const owner of ownersIn(mail)) {
    const text = await askedForLook(base, owner)
    if (text) looks.push({ ...owner, text })
    shown += text
  }
  const times = screens.length * 2 // as often as doJobs does a job
  if (looks.length <= times) throw new Error(`${looks.length} owners are asked to look something over, and the jobs need ${times + 1}`)
  // A job takes the first machine in again, and whose that is cannot say that it looks fine. Letters come in no order of their own.
  looks.sort((a, b) => b.text.includes(items[0].tag) - a.text.includes(items[0].tag))
  const [{ page: owner, stop }, ...others] = looks
  const made = {
    base, day, program, technician: 'Bo Alder', product: 'Quayside mix 30', password, tag: items[0].tag,
    // A job finds this one wet, and then nobody is asked to look it over any more.
    wet: items.find((l) => l.owner_name && l.place === 'in service' && l.state.charge && !shown.includes(l.tag)).tag,
    opened: items.find((l) => l.state.cause)?.tag,
    printed: items.find((l) => l.owner_name && l.sealed && l.next_task && l.state.charge?.fluid === 'pg' && !l.state.cause),
    looks: others.map((l) => l.page), owner, stop,
  }
  const store = join(dirname(mail), 'register.db')
  const run = (...args) => execFileSync(program, ['--store', store, ...args], { input: `${password}\n`, encoding: 'utf8' })
  made.run = run
  made.table = (name, lines) => {
    const file = join(dirname(mail), `${name}.csv`)
    writeFileSync(file, lines.join('\n') + '\n')
    run('import', file, '--table', name)
  }
  const shelved = run('shelf', 'add', '--kind', 'premix', '--product', made.product, '--lot', 'Q-30', '--fluid', 'pg', '--mass', '30%', '--left', '2l', '--json')
  made.container = JSON.parse(shelved).id
  made.unknown = JSON.parse(run('intake', '--kind', 'donor unit', '--model', 'T1', '--json')).tag
  run('technician', 'add', made.technician)
  made.first = run('technician', 'add', 'Lea', '--link').match(/(\/password\/[\w-]+)/)[1]
  return made
}

// watch notes what a page asks of others and says on the console.
const watch = (page, base) => {
  const noticed = []
  page.on('request', (r) => { if (!r.url().startsWith(`${base}/`)) noticed.push(`asks ${r.url()}`) })
  // The browser itself notes a page's own status there.
  page.on('console', (m) => { if (!/Failed to load resource: the server responded with a status of 4/.test(m.text())) noticed.push(`console: ${m.text()}`) })
  page.on('pageerror', (e) => noticed.push(`script error: ${e.message}`))
  return noticed
}

const axeProblems = async (page) => {
  await page.evaluate(axe)
  const { violations } = await page.evaluate(() => globalThis.axe.run(document, { resultTypes: ['violations'] }))
  return violations.map((v) => `axe ${v.id} (${v.impact}): ${v.help}: ${v.nodes.map((n) => n.target.join(' ')).join(', ')}`)
}

const overflowProblems = async (page) => {
  const [content, screen] = await page.evaluate(() => [document.documentElement.scrollWidth, document.documentElement.clientWidth])
  return content > screen ? [`${content} px wide on a screen of ${screen} px`] : []
}

const visitAll = async (browser, made, html) => {
  for (const screen of [...screens, narrow]) {
    for (const colorScheme of screen === narrow ? ['light'] : ['light', 'dark']) {
      for (const javaScriptEnabled of screen === narrow ? [false] : [true, false]) {
        const how = `${screen.name}, ${colorScheme}, ${javaScriptEnabled ? 'script' : 'no script'}`
        const options = { viewport: screen.viewport, hasTouch: screen.hasTouch ?? false, colorScheme, javaScriptEnabled, reducedMotion: 'reduce' }
        const stranger = await browser.newContext(options)
        const technician = await browser.newContext({ ...options, storageState: made.signedIn })
        for (const { name, path, open, status = 200 } of pages) {
          const page = await (open ? stranger : technician).newPage()
          const problems = watch(page, made.base)
          const address = made.base + (typeof path === 'function' ? path(made) : path)
          const answer = await page.goto(address)
          if (answer.status() !== status) problems.push(`status ${answer.status()}, want ${status}`)
          if (!html.has(name)) html.set(name, await answer.text())
          problems.push(...await overflowProblems(page))
          if (javaScriptEnabled) problems.push(...await axeProblems(page))
          check(`${name} (${how})`, problems)
          await page.close()
        }
        await stranger.close()
        await technician.close()
      }
    }
  }
}

// signedIn is the state of a browser in which the technician signed in.
const signedIn = async (browser, made) => {
  const context = await browser.newContext()
  const page = await context.newPage()
  await page.goto(`${made.base}/sign-in`)
  await page.getByLabel('Name', { exact: true }).fill(made.technician)
  await page.getByLabel('Password').fill(made.password)
  await page.getByRole('button', { name: 'Sign in' }).click()
  const state = await context.storageState()
  await context.close()
  return state
}

const doJobs = async (browser, made, all) => {
  for (const screen of screens) {
    for (const javaScriptEnabled of [true, false]) {
      for (const job of all.filter((j) => (javaScriptEnabled || !j.script) && (screen.hasTouch || !j.phone))) {
        const context = await browser.newContext({ viewport: screen.viewport, javaScriptEnabled })
        context.setDefaultTimeout(10_000)
        const page = await context.newPage()
        const noticed = watch(page, made.base)
        const failed = [] // whatever a job expects to notice, it does not expect to fail
        try {
          await job.run(page, made)
        } catch (e) {
          failed.push(e.message)
        }
        check(`${job.name} (${screen.name}, ${javaScriptEnabled ? 'script' : 'no script'})`, [...noticed.filter((p) => !job.expects?.test(p)), ...failed])
        await context.close()
      }
    }
  }
}

// checkHTML has the pages judged by the Nu HTML checker.
const checkHTML = (html) => {
  const folder = mkdtempSync(join(tmpdir(), 'fillmark-html-'))
  const files = new Map()
  for (const [name, text] of html) {
    const file = join(folder, `${name.replaceAll(/\W+/g, '-')}.html`)
    writeFileSync(file, text)
    files.set(file, name)
  }
  const run = spawnSync('java', ['-jar', vnu, '--exit-zero-always', '--format', 'json', ...files.keys()], { encoding: 'utf8' })
  rmSync(folder, { recursive: true })
  if (run.error || run.status !== 0) throw new Error(`the Nu HTML checker did not run: ${run.error ?? run.stderr}`)
  const { messages } = JSON.parse(run.stderr)
  for (const [file, name] of files) {
    const errors = messages.filter((m) => m.url.endsWith(file) && m.type !== 'info')
    check(`${name} (Nu HTML checker)`, errors.map((m) => `line ${m.lastLine}: ${m.message}`))
  }
}

// canFail shows that each check finds what it looks for, on a page that has it.
const canFail = async (browser, made) => {
  const context = await browser.newContext({ viewport: screens[0].viewport })
  const page = await context.newPage()
  const noticed = watch(page, made.base)
  await page.goto(`${made.base}/sign-in`)
  await page.evaluate(() => {
    document.body.insertAdjacentHTML('beforeend', '<img src="http://127.0.0.1:9/x.png"><p onclick="x()">wide</p>')
    document.querySelector('h1').style.width = '5000px'
  })
  const found = [...await axeProblems(page), ...await overflowProblems(page), ...noticed]
  const wanted = [/axe image-alt/, /px wide on a screen/, /asks http:\/\/127.0.0.1:9|console: .*Content Security Policy/]
  check('the checks find what is wrong', wanted.filter((w) => !found.some((f) => w.test(f))).map((w) => `not found: ${w}`))
  await context.close()
}

const main = async (program, day, onlyJobs) => {
  const server = await start(program, day)
  const browser = await launch(day)
  try {
    const made = await madeBy(server, program, day)
    made.signedIn = await signedIn(browser, made)
    const html = new Map()
    await canFail(browser, made)
    if (!onlyJobs) {
      await visitAll(browser, made, html)
      checkHTML(html)
    }
    await checkPrints(browser, made, check)
    await doJobs(browser, made, onlyJobs ? jobs : [...jobs, ...liveJobs, ...offlineJobs, ...scanJobs, ...wholeJobs])
  } finally {
    await browser.close()
    await server.stop()
  }
  for (const f of failures) console.log(`FAILED ${f}`)
  console.log(`\n${day}: ${passed} passed, ${failures.length} failed`)
  process.exitCode = failures.length === 0 && passed > 0 ? 0 : 1
}

const [program, day, jobsOnly] = process.argv.slice(2)
if (!program || !day || (jobsOnly && jobsOnly !== '--jobs')) {
  console.error('usage: node check.mjs PROGRAM DAY [--jobs]')
  process.exit(2)
}
await main(program, day, jobsOnly === '--jobs')
