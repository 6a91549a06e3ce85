// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// A running `fillmark try` on a day of its own, and a browser that believes it is that day.

import { spawn } from 'node:child_process'
import { readdirSync, readFileSync } from 'node:fs'
import { createServer } from 'node:net'
import { join } from 'node:path'
import { chromium } from 'playwright-core'

export const freePort = () => new Promise((resolve, reject) => {
  const server = createServer().on('error', reject)
  server.listen(0, '127.0.0.1', () => {
    const { port } = server.address()
    server.close(() => resolve(port))
  })
})

// start runs `fillmark try` on the day and waits for its pages.
export const start = async (program, day) => {
  const port = await freePort()
  const child = spawn(program, ['try', '--listen', `127.0.0.1:${port}`, '--today', day], { stdio: ['ignore', 'pipe', 'pipe'] })
  let said = ''
  const ready = new Promise((resolve, reject) => {
    const hear = (chunk) => {
      said += chunk
      if (/Fillmark serves http/.test(said) && /Mail: \S+/.test(said)) resolve()
    }
    child.stdout.on('data', hear)
    child.stderr.on('data', hear)
    child.on('exit', (code) => reject(new Error(`fillmark try ended with ${code}:\n${said}`)))
  })
  await ready
  child.removeAllListeners('exit')
  const stop = () => new Promise((resolve) => {
    child.on('exit', resolve)
    child.kill('SIGTERM')
  })
  const base = `http://127.0.0.1:${port}`
  return { base, mail: said.match(/Mail: (\S+)/)[1], started: await startedBy(said.match(/Pages: (\S+)/)[1], base), stop }
}

// startedBy is the state of a browser that followed the start link: it is shown the bench.
const startedBy = async (link, base) => {
  const answer = await fetch(link, { redirect: 'manual' })
  const [, name, value] = answer.headers.get('set-cookie').match(/^([^=]+)=([^;]+)/)
  return { cookies: [{ name, value, domain: new URL(base).hostname, path: '/', expires: -1, httpOnly: true, secure: false, sameSite: 'Strict' }], origins: [] }
}

// launch starts Chromium, with further arguments of its own; the scripts of its pages see the noon of the day.
export const launch = async (day, args = []) => {
  const browser = await chromium.launch({ executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium', args: ['--no-sandbox', ...args] })
  const newContext = async (options = {}) => {
    const context = await browser.newContext({ locale: 'en-GB', timezoneId: 'Europe/Lisbon', ...options })
    if (options.javaScriptEnabled !== false) await context.clock.setFixedTime(new Date(`${day}T12:00:00Z`))
    return context
  }
  return { newContext, close: () => browser.close() }
}

// lettersIn returns the letters of a Maildir as text, soft line breaks of quoted-printable undone.
export const lettersIn = (mail) => readdirSync(join(mail, 'new'))
  .map((name) => readFileSync(join(mail, 'new', name), 'utf8').replace(/=\r?\n/g, '').replace(/=3D/g, '='))

// loopsOf lists the loops on record, as long as nobody has a password.
export const loopsOf = async ({ base, started: { cookies: [{ name, value }] } }) =>
  (await (await fetch(`${base}/api/v1/loops`, { headers: { cookie: `${name}=${value}` } })).json()).items
