// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// What is printed, printed by Chromium and read back from the paper: pdfinfo tells the size of every page, pdftotext what it says, and zbarimg
// reads the QR codes of what pdftoppm drew.

import { execFileSync, spawnSync } from 'node:child_process'
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'

const A4 = { width: 210, height: 297 } // mm, ISO 216
const roll = { width: 62, height: 90 } // mm
const near = 0.5 // mm; Chromium rounds to its pixels

// prints are what a workshop prints: a line each. `says` names the wordings it must have, `codes` is how far from the left in mm
// a label begins whose QR code leads to the page of what it is on; `columns` that it is read column by column.
export const prints = [
  { name: 'label, 62 mm', path: (p) => `/loops/${p.tag}/label`, size: roll, pages: 1, codes: [0], says: ['tag', 'fluid', 'fraction', 'cautions', 'filled'] },
  { name: 'label, A4', path: (p) => `/loops/${p.tag}/label?size=a4&place=2&copies=8`, size: A4, pages: 1, codes: [72, 134], says: ['tag', 'fluid', 'fraction', 'cautions', 'filled'] },
  { name: 'label, coolant not known', path: (p) => `/loops/${p.unknown}/label`, size: roll, pages: 1, codes: [], says: ['not known'] },
  { name: 'labels of several, coolant not known, A4', path: (p) => `/labels?place=9&tag=${p.unknown}&tag=${p.unknown}`, size: A4, pages: 2, codes: [], says: ['not known'] },
  { name: 'labels of several, 62 mm', path: (p) => `/labels?size=62&tag=${p.tag}&tag=${p.tag}`, size: roll, pages: 2, codes: [], says: ['tag', 'fluid', 'fraction', 'cautions', 'filled'] },
  { name: 'labels of several, A4', path: (p) => `/labels?place=9&tag=${p.tag}&tag=${p.tag}`, size: A4, pages: 2, codes: [], says: ['tag', 'fluid', 'fraction', 'cautions', 'filled'] },
  { name: 'hand-over sheet', path: (p) => `/loops/${p.tag}/handover`, size: A4, pages: 2, codes: [], says: ['tag', 'owner', 'machine', 'fluid', 'fraction', 'take care', 'wet'] },
  { name: 'job sheet', path: (p) => `/loops/${p.tag}/refill`, size: A4, pages: 3, columns: true, codes: [], says: ['tag', 'machine', 'fluid', 'fraction', 'steps', 'figures'] },
  { name: 'receipt', path: (p) => `/loops/${p.tag}/receipt`, size: A4, pages: 1, codes: [], says: ['tag', 'owner', 'machine', 'fluid', 'warranty'] },
  { name: 'card', path: (p) => `/loops/${p.tag}/card`, size: A4, pages: 1, codes: [], says: ['tag', 'machine', 'next day', 'how cold', 'how to look', 'take care'] },
  { name: "owner's letter", path: (p) => `/loops/${p.tag}/letter`, size: A4, codes: [], says: ['tag', 'owner', 'machine', 'fluid', 'take care', 'wet', 'on paper'] },
  { name: 'label of a container', path: (p) => `/shelf/${p.container}/label`, size: roll, pages: 1, codes: [0], says: ['number', 'product', 'container cautions'] },
]

// wordings are the words on paper, by a short name: text or a pattern, from the subject.
const wordings = {
  tag: (p) => p.tag,
  owner: (p) => p.owner,
  machine: (p) => p.machine,
  fluid: () => /propylene glycol/i,
  fraction: (p) => p.percent,
  steps: () => /Before opening .*Switch off, unplug.*Hand over/,
  figures: () => /Enter the drain .*Enter the fill .*Strength, mass % .*Enter the proof/,
  filled: () => /Filled [A-Z][a-z]{2} \d{1,2} [A-Z][a-z]{2} \d{4}/,
  cautions: () => /Do not drink\. .*Sealed: do not open\. .*Safety data sheet and local rules decide\./,
  'take care': () => /Take care .*not for drinking/,
  wet: () => /If anything is wet .*pull the plug at the wall/,
  'next day': () => /Next .*[A-Z][a-z]{2} \d{1,2} [A-Z][a-z]{2} \d{4}|Next .*No day is planned/,
  'how cold': () => /How cold it may get/,
  'how to look': () => /How to look it over/,
  warranty: () => /ends the maker's warranty/,
  'on paper': () => /Leave it off and call us on [+\d ]+\. A photo helps\./,
  'not known': () => /Coolant not known\. Treat it as poisonous .*Sealed: do not open\. .*Safety data sheet and local rules decide\./,
  number: (p) => `No. ${p.container}`,
  product: (p) => p.product,
  'container cautions': () => /Do not drink\./,
}

const squeezed = (text) => text.replaceAll(/\s+/g, ' ')

// sizeProblems compares every page with the size in mm.
export const sizeProblems = (pdf, size, pages) => {
  const info = execFileSync('pdfinfo', ['-l', '-1', pdf], { encoding: 'utf8' })
  const found = [...info.matchAll(/^Page +\d+ size: +([\d.]+) x ([\d.]+) pts/gm)].map((m) => [m[1], m[2]].map((pt) => Number(pt) * 25.4 / 72))
  const problems = []
  if (found.length === 0) problems.push('has no page')
  if (pages !== undefined && found.length !== pages) problems.push(`${found.length} pages, want ${pages}`)
  for (const [n, [width, height]] of found.entries()) {
    if (Math.abs(width - size.width) > near || Math.abs(height - size.height) > near) {
      problems.push(`page ${n + 1} is ${width.toFixed(1)} × ${height.toFixed(1)} mm, want ${size.width} × ${size.height} mm`)
    }
  }
  return problems
}

// textProblems looks for what the print has to say; columns are read one after the other.
export const textProblems = (pdf, says, subject, columns) => {
  const text = squeezed(execFileSync('pdftotext', [...(columns ? [] : ['-layout']), pdf, '-'], { encoding: 'utf8' }))
  const missing = says.filter((name) => {
    const wanted = wordings[name](subject)
    return !(wanted instanceof RegExp ? wanted.test(text) : text.includes(wanted))
  })
  return missing.map((name) => `does not say ${name} (${wordings[name](subject)}): ${text.slice(0, 900)}`)
}

const dots = (mm) => String(Math.round(mm * 300 / 25.4))

// codeProblems reads the QR code off every label, drawn as a printer of 300 dots an inch does. Each is held before the reader by itself, as a
// phone would: of several in one picture zbar now and then overlooks some.
export const codeProblems = (pdf, codes, address) => codes.flatMap((left) => {
  const prefix = pdf.replace(/\.pdf$/, '')
  execFileSync('pdftoppm', ['-r', '300', '-png', '-singlefile', '-x', dots(left), '-W', dots(roll.width), '-y', '0', '-H', dots(roll.height), pdf, prefix])
  const run = spawnSync('zbarimg', ['--quiet', '--raw', '-Sdisable', '-Sqrcode.enable', `${prefix}.png`], { encoding: 'utf8' })
  if (run.error || (run.status !== 0 && run.status !== 4)) return [`zbarimg did not run: ${run.error ?? run.stderr}`] // 4: it found none
  const read = run.stdout.split('\n').filter(Boolean)
  if (read.length === 1 && read[0] === address) return []
  return [`the label ${left} mm from the left has QR codes to [${read}], want one to ${address}`]
})

// subjectOf is the loop that is printed: sealed, with propylene glycol, of an owner, with something planned.
const subjectOf = ({ printed: loop, container, product, unknown }) => ({
  tag: loop.tag, owner: loop.owner_name, machine: loop.machine_name, percent: `${(100 * loop.state.charge.mass_fraction).toFixed(0)}`,
  container, product, unknown,
})

// checkPrints prints everything and reports to check(name, problems).
export const checkPrints = async (browser, made, check) => {
  const folder = mkdtempSync(join(tmpdir(), 'fillmark-prints-'))
  const context = await browser.newContext({ storageState: made.signedIn })
  try {
    const subject = subjectOf(made)
    for (const [n, { name, path, size, pages, columns, codes, says }] of prints.entries()) {
      const page = await context.newPage()
      const answer = await page.goto(made.base + path(subject))
      const pdf = join(folder, `${n}.pdf`)
      writeFileSync(pdf, await page.pdf({ preferCSSPageSize: true }))
      const address = made.base + path(subject).replace(/\/label.*$/, '')
      check(`${name} (printed)`, [
        ...(answer.status() === 200 ? [] : [`status ${answer.status()}`]),
        ...sizeProblems(pdf, size, pages), ...textProblems(pdf, says, subject, columns), ...codeProblems(pdf, codes, address),
      ])
      if (codes.length > 0) {
        const led = await page.goto(address)
        const heading = await page.locator('body').innerText()
        const says = address.includes('/loops/') ? subject.tag : subject.product
        check(`${name} (its QR code leads to what it is on)`, led.status() === 200 && heading.includes(says) ? [] : [`${address}: status ${led.status()}`])
      }
      await page.close()
    }
    await canFail(context, made, subject, folder, check)
  } finally {
    await context.close()
    rmSync(folder, { recursive: true })
  }
}

// canFail shows that each check finds what it looks for: a label on the wrong paper, and a page that says nothing of a loop.
const canFail = async (context, made, subject, folder, check) => {
  const page = await context.newPage()
  const pdf = join(folder, 'wrong.pdf')
  await page.goto(`${made.base}/account`)
  writeFileSync(pdf, await page.pdf({ format: 'Letter' }))
  const wanted = { size: sizeProblems(pdf, roll, 1), text: textProblems(pdf, ['tag', 'cautions'], subject), code: codeProblems(pdf, [0], made.base) }
  check('the checks of prints find what is wrong', Object.entries(wanted).filter(([, found]) => found.length === 0).map(([what]) => `not found: ${what}`))
  await page.close()
}
