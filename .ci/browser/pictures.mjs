// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// The pictures that the documents show, made by Chromium of `fillmark try` on a fixed day. Beside each lies what its page says, and that is
// compared: a picture whose page says something else by now is not true any more. Pixels are not compared.
//
//   node pictures.mjs PROGRAM TREE             compares
//   node pictures.mjs PROGRAM TREE --write     makes pictures and texts again; look at them before they are committed

import { readdirSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { launch, loopsOf, start } from './serve.mjs'

const day = '2026-11-28'

// What is pictured: a line each. The loop is the open one of an owner's that is due first.
const pictures = [
  { name: 'loop', path: (made) => `/loops/${made.loop.tag}`, viewport: { width: 960, height: 1500 } },
  { name: 'openings', path: () => '/openings', viewport: { width: 800, height: 690 } },
  { name: 'due-phone', path: () => '/', viewport: { width: 400, height: 760 } },
]

// textOf is what a page says, what stands in its fields too. Tags are drawn at random, so a word stands for each.
const textOf = async (page, tags) => {
  const said = await page.locator('body').innerText()
  const fields = await page.locator('input:not([type=hidden]):not([type=radio]):not([type=checkbox]), select').evaluateAll(
    (all) => all.filter((f) => f.value).map((f) => `${f.name} = ${f.value}`))
  const text = [said, ...fields].join('\n').replaceAll('\u00a0', ' ')
  const masked = tags.reduce((t, tag) => t.replaceAll(tag, '(tag)'), text)
  return masked.split('\n').map((line) => line.replaceAll(/[ \t]+/g, ' ').trim()).filter(Boolean).join('\n') + '\n'
}

// differences names the first line in which two texts differ.
const differences = (stored, shown) => {
  const [was, is] = [stored.split('\n'), shown.split('\n')]
  const at = was.findIndex((line, n) => line !== is[n])
  if (at < 0 && was.length === is.length) return []
  const n = at < 0 ? was.length : at
  return [`line ${n + 1} of its text is "${was[n] ?? ''}", and the page says "${is[n] ?? ''}"`]
}

// strays are pictures in the documents that are none of ours, and ours that no document shows.
const strays = (tree) => {
  const documents = ['README.md', ...readdirSync(join(tree, 'doc')).filter((f) => f.endsWith('.md')).map((f) => `doc/${f}`)]
  const shown = new Set(documents.flatMap((f) => [...readFileSync(join(tree, f), 'utf8').matchAll(/\]\((?:doc\/)?pictures\/([\w-]+)\.png\)/g)].map((m) => m[1])))
  const kept = readdirSync(join(tree, 'doc/pictures')).filter((f) => f.endsWith('.png')).map((f) => f.replace('.png', ''))
  const made = pictures.map((p) => p.name)
  return [
    ...[...shown, ...kept].filter((name) => !made.includes(name)).map((name) => `${name}: no picture that is made here`),
    ...made.filter((name) => !shown.has(name)).map((name) => `${name}: no document shows it`),
  ]
}

const main = async (program, tree, write) => {
  const server = await start(program, day)
  const browser = await launch(day)
  const wrong = strays(tree)
  try {
    const items = await loopsOf(server)
    const open = items.filter((l) => l.owner_name && !l.sealed && l.place === 'in service' && l.state.charge?.fluid === 'pg' && l.next_due)
    const made = { loop: open.sort((a, b) => `${a.next_due} ${a.machine_name}`.localeCompare(`${b.next_due} ${b.machine_name}`))[0] }
    for (const { name, path, viewport } of pictures) {
      const context = await browser.newContext({ viewport, reducedMotion: 'reduce', storageState: server.started })
      const page = await context.newPage()
      await page.goto(server.base + path(made))
      const text = await textOf(page, items.map((l) => l.tag))
      const file = join(tree, 'doc/pictures', name)
      if (write) {
        await page.screenshot({ path: `${file}.png` })
        writeFileSync(`${file}.txt`, text)
      } else {
        wrong.push(...differences(readFileSync(`${file}.txt`, 'utf8'), text).map((d) => `${name}: ${d}`))
        // The comparison can fail: a figure more on the page is noticed, and a line less.
        await page.evaluate(() => { document.querySelector('h1').append(' 7') })
        const changed = [await textOf(page, items.map((l) => l.tag)), text.split('\n').slice(1).join('\n')]
        if (changed.some((other) => differences(text, other).length === 0)) wrong.push(`${name}: a changed page is not noticed`)
      }
      await context.close()
    }
  } finally {
    await browser.close()
    await server.stop()
  }
  for (const w of wrong) console.log(`FAILED picture ${w}; .ci/run pictures makes it again`)
  console.log(`${pictures.length} pictures of ${day} ${write ? 'made' : 'compared'}`)
  process.exitCode = wrong.length === 0 ? 0 : 1
}

const [program, tree, write] = process.argv.slice(2)
if (!program || !tree || (write && write !== '--write')) {
  console.error('usage: node pictures.mjs PROGRAM TREE [--write]')
  process.exit(2)
}
await main(program, tree, write === '--write')
