// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// What people come for, done as they would: by what they read on the page. Each job gets a page of a fresh browser and what `fillmark try`
// left, and throws where it cannot be done.

export const expect = (holds, what) => {
  if (!holds) throw new Error(what)
}

// says waits for the words: a form that is sent by script is answered on the page it stands on.
export const says = async (page, words) => {
  const until = performance.now() + 5000
  for (;;) {
    const text = await page.locator('body').innerText().catch(() => '') // between two pages there is none
    if (text.toLowerCase().includes(words.toLowerCase())) return
    if (performance.now() > until) throw new Error(`the page does not say "${words}":\n${text.slice(0, 600)}`)
    await page.waitForTimeout(100)
  }
}

export const signIn = async (page, made) => {
  await page.getByLabel('Name', { exact: true }).fill(made.technician)
  await page.getByLabel('Password').fill(made.password)
  await page.getByRole('button', { name: 'Sign in' }).click()
}

// words is a name that nobody else has.
const words = (n) => Array.from({ length: n }, () => 'abdefghkmnoprstuvwy'[Math.floor(Math.random() * 19)]).join('')

// counted does what somebody does with a form, and counts fields, keystrokes and touches.
export const counted = (page) => {
  const count = { fields: 0, keys: 0, touches: 0 }
  return {
    count,
    async type(locator, text) {
      count.fields++
      count.touches++
      count.keys += text.length
      await locator.click()
      await locator.pressSequentially(text)
    },
    async pick(locator, option) {
      count.fields++
      count.touches += option === undefined ? 1 : 2 // a list is opened, and chosen from
      await (option === undefined ? locator.check() : locator.selectOption(option))
    },
    async press(locator) {
      count.touches++
      await locator.click()
    },
    // at stated pauses: 0.2 s a keystroke, 1 s a touch
    seconds: () => Math.round(count.keys * 0.2 + count.touches),
  }
}

const kinds = ['desktop', 'workstation', 'small server', 'bench chiller', 'laser chiller', 'test rig', 'donor unit']

// crowd puts owners on record, with a machine each or several, whose liquid nobody has looked at for a year.
export const crowd = (made, many = 100, each = 1) => {
  const names = Array.from({ length: many }, (_, n) => `Crowd ${words(5)} ${n}`)
  const day = (back) => new Date(Date.parse(`${made.day}T12:00:00Z`) - back * 864e5).toISOString().slice(0, 10)
  made.table('owners', ['name,phone', ...names.map((name, n) => `${name},+351 210 555 ${String(1000 + n)}`)])
  const owners = JSON.parse(made.run('owner', 'list', '--json')).items.filter((o) => names.includes(o.name))
  made.table('machines', ['owner,kind,name', ...owners.flatMap((o) => Array.from({ length: each }, (_, n) => `${o.id},desktop,tower ${n}`))])
  const machines = JSON.parse(made.run('machine', 'list', '--json')).items.filter((m) => owners.some((o) => o.id === m.owner))
  made.table('loops', ['machine,sealed,holds_ml,wetted,nothing_can_freeze', ...machines.map((m) => `${m.id},yes,150,cold plate:copper;radiator:copper,yes`)])
  const loops = JSON.parse(made.run('loop', 'list', '--json')).items.filter((l) => machines.some((m) => m.id === l.machine))
  made.table('acts', ['tag,act,day,already_done,fluid,mass_percent,mass_uncertainty_percent,poured,inhibitor,biocide,hours_h,dry,unproved',
    ...loops.flatMap(({ tag }) => [
      `${tag},fill,${day(372)},yes,pg,30,1,148ml,oat,none,,,`,
      `${tag},leakcheck,${day(371)},yes,,,,,,,24,yes,`,
      `${tag},handover,${day(371)},yes,,,,,,,,,its rig is not here`,
    ])])
  return loops.map((l) => l.tag)
}

export const jobs = [
  {
    name: 'any kind of machine is on record with four fields, within 40 seconds at stated pauses',
    async run(page, made) {
      await page.goto(`${made.base}/intake`)
      await signIn(page, made)
      for (const kind of kinds) {
        await page.goto(`${made.base}/intake`)
        const hand = counted(page)
        if (kind !== 'donor unit') await hand.type(page.locator('#who'), `Ona ${words(8)}, 5550134`)
        await hand.pick(page.getByRole('radio', { name: kind, exact: true }))
        await hand.type(page.locator('#intake-complaint'), 'loud since May, hot when it works')
        await hand.press(page.getByRole('button', { name: 'Put on record' }))
        expect(page.url().includes('/receipt'), `${kind}: an intake leads to the receipt, not to ${page.url()}`)
        await says(page, 'sealed or open is not known')
        expect(hand.count.fields <= 4, `${kind} took ${hand.count.fields} fields`)
        expect(hand.seconds() <= 40, `${kind} took ${JSON.stringify(hand.count)}, ${hand.seconds()} s at stated pauses`)
      }
    },
  },
  {
    name: 'a form that is wrong says so at the top, has the focus on the field, and loses nothing',
    script: true, // without one no field has the focus
    async run(page, made) {
      await page.goto(`${made.base}/intake`)
      await signIn(page, made)
      await page.locator('#who').fill('Ona Rask, 5550134')
      await page.locator('#intake-complaint').fill('it drips')
      await page.getByRole('button', { name: 'Put on record' }).click()
      await page.locator('[role=alert] a[href="#machine-kind"]').click()
      expect(await page.locator('#who').inputValue() === 'Ona Rask, 5550134', 'who is gone')
      expect(await page.locator('#intake-complaint').inputValue() === 'it drips', 'what is wrong is gone')
      await page.goto(`${made.base}/topup?tag=${made.tag}`)
      await page.locator('#room').fill('0.04')
      await page.locator('#liquid1').selectOption('water')
      await page.getByRole('button', { name: 'Check' }).last().click()
      await says(page, '0.04 l are 40 ml')
      expect(await page.locator('#room').evaluate((e) => e === document.activeElement), 'the focus is not on the room')
      await page.locator('#room').fill('8')
      await page.getByRole('button', { name: 'Check' }).last().click()
      await page.locator('.verdict').first().waitFor()
      await page.goBack()
      expect(await page.locator('#room').inputValue() === '8', 'going back from a verdict empties the form')
    },
  },
  {
    name: 'an owner and a machine of theirs are found while a name is typed',
    script: true, // without one Find does
    async run(page, made) {
      await page.goto(`${made.base}/intake`)
      await signIn(page, made)
      const hand = counted(page)
      await hand.type(page.locator('#who'), made.tag)
      const again = page.getByRole('radio', { name: 'this machine again' }).first()
      await again.waitFor()
      await hand.pick(again)
      await hand.type(page.locator('#intake-complaint'), 'hot again')
      await hand.press(page.getByRole('button', { name: 'Put on record' }))
      await says(page, 'hot again')
      expect(hand.count.fields <= 3 && hand.count.touches <= 4, `took ${JSON.stringify(hand.count)}`)
    },
  },
  {
    name: 'the first screen of a scanned loop has its charge, its verdict, Top-up check and Job sheet',
    async run(page, made) {
      const size = page.viewportSize()
      await page.setViewportSize({ width: 390, height: 844 })
      await page.goto(`${made.base}/loops/${made.tag}`)
      await signIn(page, made)
      for (const what of [page.locator('.scanned p').nth(1), page.locator('.verdict').first(), page.locator('main').getByRole('link', { name: 'Top-up check' }), page.getByRole('link', { name: 'Job sheet' })]) {
        const box = await what.boundingBox()
        expect(box && box.y + box.height <= 844, `below the first screen: ${await what.innerText()}, ${JSON.stringify(box)}`)
      }
      await page.setViewportSize(size)
    },
  },
  {
    name: 'a technician registers a refilled loop, prints its label and checks a top-up',
    async run(page, made) {
      await page.goto(`${made.base}/intake`)
      await signIn(page, made)
      await page.locator('#who').fill(`Rui Salgueiro ${page.viewportSize().width} ${words(6)}, rui@salgueiro.example`)
      await page.getByRole('radio', { name: 'desktop', exact: true }).check()
      await page.getByText('Consent, accessories, promised day').click()
      await page.getByLabel('May get reminders by mail').check()
      await page.locator('#machine-name').fill('the black box')
      await page.getByText('How it is built, if somebody looked').click()
      await page.getByText('What is in it, if somebody knows').click()
      await page.locator('input[name="loop.sealed"][value=yes]').check()
      await page.locator('#loop-holds').fill('180')
      await page.locator('#loop-wall').fill('5')
      await page.locator('#loop-wetted-0').selectOption('copper')
      await page.locator('#loop-wetted-1').selectOption('aluminium')
      await page.locator('#fill-origin').selectOption('workshop')
      await page.locator('#fill-fluid').selectOption('pg')
      await page.locator('#fill-mass').fill('30')
      await page.locator('#fill-poured').fill('170')
      await page.locator('#fill-inhibitor').selectOption('azole')
      await page.getByRole('button', { name: 'Put on record' }).click()
      expect(page.url().includes('/receipt'), `an intake leads to the receipt, not to ${page.url()}`)
      await page.getByRole('link', { name: 'Label' }).click()
      await says(page, 'propylene glycol')
      expect(await page.locator('svg').count() > 0, 'the label has no QR code')
      await page.getByText('Back').first().click()
      await says(page, 'the black box')
      await page.locator('nav >> text=Top-up check').first().click()
      await page.locator('#room').fill('8')
      await page.locator('#liquid1').selectOption('water')
      await page.getByRole('button', { name: 'Check' }).last().click()
      const verdict = (await page.locator('.verdict').first().innerText()).toLowerCase()
      expect(['go', 'care', 'stop'].includes(verdict), `the verdict is "${verdict}"`)
    },
  },
  {
    name: 'a technician is stopped at the hand-over, reads why, and hands the machine back as it is',
    async run(page, made) {
      await page.goto(`${made.base}/loops/${made.wet}/refill`)
      await signIn(page, made)
      await page.getByText('Enter the leak check').first().evaluate((e) => { e.closest('details').open = true })
      await page.locator('#leakcheck-hours').fill('2')
      await page.locator('#leakcheck-wet').check()
      await page.getByRole('button', { name: 'Enter the leak check' }).click()
      await page.locator('.record', { hasText: 'eak' }).first().waitFor({ state: 'attached' })
      await page.locator('#handover-note').fill('ring twice')
      await page.getByRole('button', { name: 'Hand over', exact: true }).click()
      await says(page, 'a leak check ended wet')
      expect(await page.locator('#handover-note').inputValue() === 'ring twice', 'what was typed is gone')
      await page.getByText('It goes back as it is', { exact: true }).click()
      await page.locator('#return-why').fill('the owner wants it back')
      await page.getByRole('button', { name: 'Return it as it is' }).click()
      await says(page, 'LEAKING, RETURNED AS IT IS')
      await says(page, 'Leave it switched off and unplugged')
      await says(page, 'Returned as it is: the owner wants it back.')
    },
  },
  {
    name: 'an owner answers that all is fine',
    async run(page, made) {
      await page.goto(`${made.base}${made.looks.pop()}?answer=fine`)
      const first = await page.locator('button').first().innerText()
      expect(first === 'All looks fine', `the page is about the answer that was pressed, not "${first}"`)
      await page.getByRole('button', { name: 'All looks fine' }).click()
      await says(page, 'all fine')
      expect(!page.url().includes('answer='), 'the answer would be sent again by opening the page again')
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
    name: 'an owner stops the mail and starts it again',
    async run(page, made) {
      await page.goto(`${made.base}${made.stop}`)
      await page.getByRole('button', { name: 'Stop these mails' }).click()
      await says(page, 'We have sent you no mail')
      await page.getByRole('button', { name: 'Send me mail again' }).click()
      await says(page, 'We write to you')
    },
  },
  {
    name: 'a loop is found while the telephone of its owner is typed, and by keys alone',
    script: true, // without one Find does
    async run(page, made) {
      await page.goto(`${made.base}/loops`)
      await signIn(page, made)
      await page.goto(`${made.base}/loops`)
      const all = await page.locator('#found tbody tr').count()
      await page.keyboard.press('/')
      expect(await page.locator('#q').evaluate((e) => e === document.activeElement), '/ does not go to the search')
      await page.keyboard.type('555 0188')
      await page.waitForFunction((had) => document.querySelectorAll('#found tbody tr').length < had, all)
      await says(page, 'Aurelio Bandeiras')
      await page.keyboard.type('/9')
      expect(await page.locator('#q').inputValue() === '555 0188/9', 'a key did something while somebody typed')
      await page.goto(`${made.base}/loops/${made.tag}/refill`)
      await page.keyboard.press('3')
      const step = await page.evaluate(() => document.activeElement.closest('li')?.value)
      expect(step === 3, `3 leads to step ${step}`)
    },
  },
  {
    name: 'a hundred overdue loops are cleared on a phone without leaving the page',
    script: true, // without one each answer is a page of its own
    phone: true,
    async run(page, made) {
      const tags = new Set(crowd(made))
      await page.goto(`${made.base}/`)
      await signIn(page, made)
      await page.goto(`${made.base}/`)
      const overdue = async () => Number(await page.locator('.figure strong').innerText())
      const before = await overdue()
      let left = 0
      page.on('framenavigated', () => { left++ })
      const hand = counted(page)
      let agreed = 0
      const deal = async (person, how) => {
        const name = await person.locator('h3').innerText()
        if (how === 'done') {
          await hand.press(person.getByRole('link', { name: /^Done: enter readings/ }).first())
          await hand.type(person.locator('.here input[name=die]'), '47')
          await hand.pick(person.locator('.here select[name=verdict]'), 'good')
          await hand.press(person.getByRole('button', { name: 'Put on record' }))
        } else if (how === 'agreed') {
          await hand.press(person.locator('button[name=on]').first())
        } else {
          await hand.press(person.getByRole('button', { name: how, exact: true }))
        }
        await page.locator('#due .dealt', { hasText: name }).first().waitFor()
      }
      const todo = () => page.locator('#overdue .person:not(.dealt)').filter({ hasText: 'Crowd' }).first()
      for (let n = 0; n < 100; n++) {
        while (await todo().count() === 0) {
          const shown = await page.locator('#due .person').count()
          await hand.press(page.locator('#due a[rel=next]'))
          await page.waitForFunction((had) => document.querySelectorAll('#due .person').length > had, shown)
        }
        const how = ['agreed', 'Not reached', 'done', 'Reached'][n % 4]
        await deal(todo(), how)
        if (how === 'agreed' || how === 'done') agreed++
      }
      expect(left === 0, `the page was left ${left} times`)
      expect(await page.locator('#overdue .person:not(.dealt)', { hasText: 'Crowd' }).count() === 0, 'not all are dealt with')
      const cleared = before - await overdue()
      expect(cleared >= agreed, `${agreed} were agreed on or done, and ${cleared} are no longer overdue`)
      expect(hand.count.touches <= 300, `took ${JSON.stringify(hand.count)}`)
      console.log(`a hundred overdue loops on a phone: ${JSON.stringify(hand.count)}, ${hand.seconds()} s at stated pauses`)
      // Each can be taken back where it stands.
      const dealt = page.locator('#overdue .dealt', { hasText: 'Crowd' }).last()
      const id = await dealt.getAttribute('id')
      await dealt.getByRole('button', { name: 'Take it back' }).click()
      await page.locator(`#${id}:not(.dealt)`).waitFor()
      const now = JSON.parse(made.run('due', '--json'))
      expect([...now.overdue, ...now.today, ...now.week, ...now.later].some((l) => tags.has(l.tag)), 'due does not know the crowd')
    },
  },
  {
    name: 'a technician signs in, finds a loop and signs out',
    async run(page, made) {
      await page.goto(`${made.base}/loops?q=${made.tag}`)
      await signIn(page, made)
      expect(page.url().endsWith(`/loops/${made.tag}`), `led to ${page.url()}, not to the loop whose tag was looked for`)
      await page.goto(`${made.base}/loops?q=${made.tag.slice(0, 4)}`)
      await page.getByRole('link', { name: made.tag }).first().click()
      await says(page, made.tag)
      await page.getByRole('button', { name: 'Sign out' }).click()
      await page.goto(`${made.base}/loops`)
      await says(page, 'Sign in')
    },
  },
]
