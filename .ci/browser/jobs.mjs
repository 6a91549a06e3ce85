// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// What people come for, done as they would: by what they read on the page. Each job gets a page of a fresh browser and what `fillmark try`
// left, and throws where it cannot be done.

const expect = (holds, what) => {
  if (!holds) throw new Error(what)
}

const says = async (page, words) => {
  const text = await page.locator('body').innerText()
  expect(text.toLowerCase().includes(words.toLowerCase()), `the page does not say "${words}":\n${text.slice(0, 600)}`)
}

const signIn = async (page, made) => {
  await page.getByLabel('Name', { exact: true }).fill(made.technician)
  await page.getByLabel('Password').fill(made.password)
  await page.getByRole('button', { name: 'Sign in' }).click()
}

export const jobs = [
  {
    name: 'an owner answers that all is fine',
    async run(page, made) {
      await page.goto(`${made.base}${made.owner}?answer=fine`)
      await page.getByRole('button', { name: 'All looks fine' }).click()
      await says(page, 'all fine')
      expect(!page.url().includes('answer='), 'the answer would be sent again by opening the page anew')
    },
  },
  {
    name: 'an owner answers that something is off',
    async run(page, made) {
      await page.goto(`${made.base}${made.owner}?answer=off`)
      await page.getByRole('textbox').fill('It gurgles <b>when</b> it starts')
      await page.getByRole('button', { name: 'Something is off' }).click()
      await says(page, 'It gurgles <b>when</b> it starts')
    },
  },
  {
    name: 'an owner stops the mail and lets it run again',
    async run(page, made) {
      await page.goto(`${made.base}${made.stop}`)
      await page.getByRole('button', { name: 'Stop these mails' }).click()
      await says(page, 'we send you no mail')
      await page.getByRole('button', { name: 'Send me mail again' }).click()
      await says(page, 'We write to you')
    },
  },
  {
    name: 'a technician signs in, finds a loop and signs out',
    async run(page, made) {
      await page.goto(`${made.base}/loops?q=${made.tag}`)
      await signIn(page, made)
      expect(page.url().endsWith(`/loops?q=${made.tag}`), `led to ${page.url()}, not to the page that was wanted`)
      await page.getByRole('link', { name: made.tag }).first().click()
      await says(page, made.tag)
      await page.getByRole('button', { name: 'Sign out' }).click()
      await page.goto(`${made.base}/loops`)
      await says(page, 'Sign in')
    },
  },
]
