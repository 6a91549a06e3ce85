// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// A form with data-kept="NAME" loses nothing on this device: not with a closed
// tab, a dead battery or a lost connection. Two things are kept of a job sheet,
// in IndexedDB by idb-keyval.js:
//
//   drafts   what was typed into the fields of each form
//   waiting  what was pressed or ticked, in its order, each with the key with
//            which it is one entry however often it is sent
//
// What waits says "not yet recorded" and can be undone. It is sent in its order
// when there is a connection, by a page of whoever pressed it, and leaves only
// by being recorded or undone. The server alone judges. What it refuses is shown
// in its form with what was typed and is not sent again before somebody presses
// again; what was entered after it waits.
"use strict";

const sheet = location.pathname;
const names = { drafts: `drafts ${sheet}`, waiting: `waiting ${sheet}` };
const draftDays = 90; // what is older is said once more, and then gone
const questionDays = 1; // what to pour is asked again at another visit
const againAfter = 20_000; // ms

let drafts = {}; // by the name of the form: {at, key, values, last}
let waiting = []; // {id, form, step, action, body, words, at, day, by, tried, refused}

// stale tells that the page is an old one that the worker kept, unsure that it
// is not known who is signed in now, or whether anybody answers.
const notice = () => document.getElementById("offline");
let old = !notice().hidden; // the worker kept it, and it says as of when
let stale = old;
let unsure = true;
let why = "";
const pressedHere = new Set(); // ids of what was pressed in this page
let technician = nameOn(document);
const signedOut = "sign in again first"; // somebody answers, and knows nobody here

// unanswered tells that another question is asked than the one that the page
// answers, and that nobody answers it now.
let unanswered = "other" in notice().dataset;

function nameOn(page) {
  return page.querySelector(".signed a")?.textContent ?? "";
}

// unkept are the names of what this device did not take when it was written last:
// there the forms work as any others, and the page says so.
const unkept = new Set();

async function write(name, change) {
  const before = unkept.size;
  try {
    await idbKeyval.update(name, change);
    unkept.delete(name);
  } catch {
    unkept.add(name);
  }
  if (unkept.size !== before) mark();
}

async function changeDraft(name, draft) {
  if (draft) drafts[name] = draft;
  else delete drafts[name];
  const changed = (all = {}) => {
    delete all[name];
    return draft ? { ...all, [name]: draft } : all;
  };
  await write(names.drafts, changed);
}

async function changeWaiting(change) {
  waiting = change(waiting);
  await write(names.waiting, (all = []) => (unkept.has(names.waiting) ? waiting : change(all)));
  try {
    const sheets = JSON.parse(localStorage.getItem("not recorded")) ?? {};
    delete sheets[sheet];
    if (waiting.length > 0) sheets[sheet] = waiting.length;
    localStorage.setItem("not recorded", JSON.stringify(sheets));
  } catch {
    // other pages do not tell
  }
}

const drop = (id) => changeWaiting((all) => all.filter((w) => w.id !== id));

const formNamed = (name) => document.querySelector(`form[data-kept="${name}"]`);

// The question of the mix is kept as what is typed into a form, and not sent.
const nameOfForm = (form) => form.dataset.kept ?? "mix";

// firstValues are what the server put into each field.
const firstValues = new WeakMap();

// typed tells that somebody typed into a field: nothing but they change it.
const typed = (e) => valueOf(e) !== firstValues.get(e) || fieldKey(e) in (drafts[nameOfForm(e.form)]?.values ?? {});

function keep(form) {
  const name = nameOfForm(form);
  const values = Object.fromEntries(fieldsIn(form).filter(typed).map((e) => [fieldKey(e), valueOf(e)]));
  if (Object.keys(values).length === 0) return changeDraft(name, null);
  const same = JSON.stringify(values) === JSON.stringify(drafts[name]?.values);
  return changeDraft(name, { at: same ? drafts[name].at : Date.now(), key: form.elements.key?.value, values });
}

// putBack puts values into fields and tells whether any changed.
function putBack(form, values) {
  let changed = false;
  for (const e of fieldsIn(form)) {
    const value = values[fieldKey(e)];
    if (value === undefined || value === valueOf(e)) continue;
    putIn(e, value);
    changed = true;
  }
  if (!changed) return false;
  for (let d = form.closest("details"); d; d = d.parentElement.closest("details")) d.open = true;
  for (const d of form.querySelectorAll("details")) d.open = true;
  return true;
}

// clearOffers takes away what the answer to another question offers for the fill,
// but for what somebody typed.
function clearOffers() {
  unanswered = true;
  for (const e of formNamed("fill")?.elements ?? []) {
    if (!e.name || e.type === "hidden" || ticks(e) || e.name === "day" || typed(e)) continue;
    e.value = "";
    firstValues.set(e, e.value);
  }
}

// askAgain has the page's question answered as it is typed now.
function askAgain() {
  for (const form of document.querySelectorAll("form[data-live]")) form.dispatchEvent(new Event("input", { bubbles: true }));
}

// saidIn are the values that were sent, by field.
function saidIn(form, item) {
  const sent = new URLSearchParams(item.body);
  return Object.fromEntries(fieldsIn(form).map((e) => [fieldKey(e), ticks(e) ? sent.getAll(e.name).includes(e.value) : (sent.get(e.name) ?? (e.name === "day" ? item.day : ""))]));
}

// another tells that the next entry was begun in the form of one that waits.
const another = (item) => !item.step && item.form in drafts && drafts[item.form].key !== item.id;

// bringBack puts into a form what waits of it, and then what was typed since; it
// tells whether that changed anything.
function bringBack(form) {
  const name = nameOfForm(form);
  for (const e of fieldsIn(form)) if (!firstValues.has(e)) firstValues.set(e, valueOf(e));
  const draft = drafts[name];
  for (const item of waiting.filter((w) => w.form === name)) {
    const step = item.step && document.getElementById(item.step);
    if (step) putBack(form, Object.fromEntries(Object.entries(saidIn(form, item)).filter(([key]) => inStep(step, key))));
    if (item.step || !item.refused || another(item)) continue;
    putBack(form, saidIn(form, item));
    form.elements.key.value = item.id;
  }
  if (!draft || !putBack(form, draft.values)) return false;
  if (draft.key) form.elements.key.value = draft.key;
  sayTyped(form, draft);
  return true;
}

// sayTyped says that there is a draft, which can be thrown away and taken up again.
function sayTyped(form, draft) {
  const name = nameOfForm(form);
  const swap = async (p, now) => {
    p.remove();
    await changeDraft(name, now);
    putBack(form, Object.fromEntries(fieldsIn(form).map((e) => [fieldKey(e), firstValues.get(e)])));
    bringBack(form);
    form.dispatchEvent(new Event("input", { bubbles: true }));
    form.querySelector(":scope > .kept button")?.focus();
  };
  const last = draft.last ? ` That is more than ${draftDays} days ago: it is gone when the sheet is opened next.` : "";
  const p = line(form, `Typed here at ${clock(draft.at)}${draft.key ? ", not recorded yet" : ""}.${last}`, "Throw it away", () => {
    const gone = line(form, "Thrown away.", "Undo", () => swap(gone, draft));
    swap(p, null);
  });
}

// line puts one line at the head of a part of the page, with a button.
function line(part, words, does, press) {
  const p = document.createElement("p");
  p.className = "kept";
  p.append(words);
  const button = document.createElement("button");
  button.type = "button";
  button.className = "quiet";
  button.textContent = does;
  button.addEventListener("click", press);
  p.append(" ", button);
  part.prepend(p);
  return p;
}

// What mark showed last: it says nothing twice and moves nothing under somebody's
// hand. A phase is opened once for each that waits in it.
let shown = { top: "", lines: "" };
const opened = new Set();

// mark shows at each step and form what waits there, and at the top how much.
function mark() {
  notice().hidden = !old && (why === signedOut || (!stale && why !== "no connection"));
  const top = document.getElementById("waiting");
  top.hidden = waiting.length === 0 && unkept.size === 0 && why !== signedOut;
  const words = wordsAtTop();
  const lines = JSON.stringify(waiting.map((w) => [w.id, w.at, w.refused]));
  if (words === shown.top && lines === shown.lines) return;
  if (words !== shown.top) top.textContent = words;
  shown = { top: words, lines };
  const focused = document.activeElement.closest(".waits")?.dataset.item;
  for (const p of document.querySelectorAll(".waits")) p.remove();
  for (const item of waiting.toReversed()) {
    const part = (item.step ? document.getElementById(item.step) : formNamed(item.form)) ?? top;
    let said = `Not yet recorded, ${clock(item.at)}${item.words ? `: ${item.words}` : ""}.`;
    if (item.refused) said = `Refused, and not recorded${item.words ? ` (${item.words})` : ""}: ${item.refused} What was entered after it waits until this is put right or undone.`;
    const p = line(part, said, "Undo", () => undo(item));
    p.classList.add("waits");
    p.dataset.item = item.id;
    if (item.id === focused) p.querySelector("button").focus();
    const once = `${item.id} ${item.refused ?? ""}`;
    for (let d = part.closest("details"); d && !opened.has(once); d = d.parentElement.closest("details")) d.open = true;
    opened.add(once);
  }
}

function wordsAtTop() {
  let words = waiting.length > 0 ? `Not yet recorded: ${waiting.length}${why ? ` (${why})` : ""}. ` : "";
  if (why === signedOut && waiting.length === 0) words = "Your sign-in has ended: sign in again to see this sheet as it is now. ";
  else if (unkept.size === 0) words += "Kept on this device.";
  return unkept.size > 0 ? `${words}Not kept on this device: what is not recorded is lost with this page.` : words;
}

const inStep = (step, key) => [...step.querySelectorAll("input, select")].some((e) => fieldKey(e) === key);

// undo takes back what was not recorded yet, of a step all of it; what was typed
// stays in its form.
async function undo(item) {
  await changeWaiting((all) => all.filter((w) => w.id !== item.id && !(item.step && w.step === item.step)));
  const form = formNamed(item.form);
  const part = item.step ? document.getElementById(item.step) : form;
  const tick = item.step && part?.querySelector("input[type=checkbox]");
  if (tick) tick.checked = false;
  else if (form && !drafts[item.form]) putBack(form, saidIn(form, item));
  if (form) await keep(form);
  mark();
  (tick ?? part?.querySelector("input:not([type=hidden]), select, button"))?.focus();
  stale = unsure = true; // it may have arrived, and its answer been lost: the sheet is asked for again
  deliver();
}

const newKey = () => [...crypto.getRandomValues(new Uint8Array(12))].map((b) => b.toString(16).padStart(2, "0")).join("");

// summary is what somebody filled in, in a line.
function summary(form, button) {
  const taken = button?.name === "entry" && button.closest("p");
  if (taken) return `take back ${taken.textContent.replace(button.textContent, "").trim()}`;
  const parts = [];
  for (const e of fieldsIn(form)) {
    const value = ticks(e) ? e.checked && e.value : e.value && (e.selectedOptions?.[0]?.textContent ?? e.value);
    if (value) parts.push([e.labels[0]?.textContent.trim(), ticks(e) ? "" : value.trim()].filter(Boolean).join(" "));
  }
  return [button?.textContent.trim(), ...parts].filter(Boolean).join(", ");
}

// leftDay tells that the form shows a day that is over, and nobody chose it: the
// page stood there since, or was kept.
function leftDay(form, today) {
  const day = form.elements.day;
  if (!day?.value || day.value === today || day.value !== firstValues.get(day)) return false;
  const sentBefore = waiting.some((w) => w.form === form.dataset.kept && w.refused) || form.querySelector("[role=alert], [aria-invalid=true]");
  return !sentBefore && !("day" in (drafts[form.dataset.kept]?.values ?? {}));
}

// itemOf is what a form says, or one step of it.
function itemOf(form, button, step) {
  const at = Date.now();
  const item = { form: form.dataset.kept, step: step?.id ?? null, action: form.getAttribute("action"), at, day: dayOf(at), by: technician };
  item.id = form.elements.key.value;
  if (step) item.id = waiting.findLast((w) => w.step === step.id)?.id ?? `${item.id}.${step.id}`;
  else if (button?.name === "entry") item.id += `.${button.value}`;
  item.words = step ? "" : summary(form, button);
  item.body = [...new FormData(form, button)].map(([name, value]) => [name, name === "key" ? item.id : String(value)]);
  if (leftDay(form, item.day)) item.body = item.body.filter(([name]) => name !== "day");
  if (step) {
    const hidden = [...form.elements].filter((e) => e.type === "hidden").map((e) => e.name);
    const own = [...step.querySelectorAll("input, select")].map((e) => e.name);
    item.body = item.body.filter(([name, value]) => hidden.includes(name) || (own.includes(name) && (name !== "sheet-step" || step.querySelector(`input[value="${value}"]`))));
  }
  return item;
}

// ownKey gives an item a key of its own, where that is of one which was sent, says
// something else and may be on record by now; the same said twice is one.
function ownKey(item, form) {
  const sent = waiting.find((w) => w.id === item.id && w.tried);
  if (!sent || JSON.stringify(sent.body) === JSON.stringify(item.body)) return;
  item.id = newKey();
  item.body = item.body.map(([name, value]) => [name, name === "key" ? item.id : value]);
  if (!item.step) form.elements.key.value = item.id;
}

async function enter(form, button, step) {
  const item = itemOf(form, button, step);
  ownKey(item, form);
  if (form.classList.contains("checks") && !step) { // the steps that wait are not sent twice
    item.body = item.body.filter(([name, value]) => name !== "sheet-step" || !waiting.some((w) => w.step === `step-${value}`));
    if (waiting.length > 0 && !item.body.some(([name]) => name === "sheet-step")) return deliver();
  }
  pressedHere.add(item.id);
  await changeWaiting((all) => (all.some((w) => w.id === item.id) ? all.map((w) => (w.id === item.id ? item : w)) : [...all, item]));
  if (!step) await changeDraft(item.form, null); // it waits with all that it says; what is typed from now on is another
  form.setAttribute("aria-busy", "true");
  await deliver(item.id);
  form.removeAttribute("aria-busy");
  if (step || unkept.has(names.waiting) || !waiting.some((w) => w.id === item.id && !w.refused)) return;
  const free = formNamed(item.form); // for the next one
  free.elements.key.value = newKey();
  if (drafts[item.form]) return keep(free);
  free.reset();
  if (unanswered) clearOffers();
  for (const p of free.querySelectorAll(":scope > .kept")) p.remove();
  bringBack(free); // one that was refused, to be put right
  shown.lines = "";
  mark();
}

// deliver sends what waits, one page of this browser at a time.
let delivering = Promise.resolve();

function deliver(pressed) {
  const work = () => (navigator.locks ? navigator.locks.request("fillmark", () => sendAll(pressed)) : sendAll(pressed));
  delivering = delivering.then(work, work);
  return delivering;
}

let later = 0;

async function sendAll(pressed) {
  const had = waiting.length;
  if (!unkept.has(names.waiting)) waiting = (await idbKeyval.get(names.waiting).catch(() => null)) ?? waiting;
  if (waiting.length < had) stale = unsure = true; // another page has sent it
  if (waiting.some((w) => !pressedHere.has(w.id))) unsure = true; // who is signed in may have changed since
  clearTimeout(later);
  why = "";
  const recorded = (!unsure || (await look())) && (await sendEach(pressed));
  if (stale && recorded) await look();
  mark();
  if (why) later = setTimeout(deliver, againAfter);
  if (recorded) remember();
}

// look asks for the sheet as it is now: whether anybody answers, who is signed
// in, and what has changed meanwhile.
async function look() {
  try {
    const answer = await fetch(sheet + location.search, { headers: { Accept: "text/html" }, signal: AbortSignal.timeout(20_000) });
    if (new URL(answer.url).pathname !== sheet || !answer.ok) {
      why = new URL(answer.url).pathname === "/sign-in" ? signedOut : "the pages do not answer";
      return false;
    }
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    technician = nameOn(page);
    unsure = false;
    if (stale) replaceMain(page);
    else if (unanswered) askAgain();
    stale = old = false;
    return true;
  } catch {
    why = "no connection";
    return false;
  }
}

// sendEach tells whether anything was recorded.
async function sendEach(pressed) {
  let recorded = false;
  while (waiting.length > 0 && !waiting[0].refused) {
    const item = waiting[0];
    const answer = await attempt(item);
    if (!answer) break;
    if (!answer.recorded) {
      if (!item.step || waiting.findLast((w) => w.step === item.step).id === item.id) {
        await refuse(item, answer);
        break;
      }
      await drop(item.id); // it was put right meanwhile
      continue;
    }
    await drop(item.id);
    const since = !item.step && drafts[item.form];
    if (since && since.key === item.id) await changeDraft(item.form, { ...since, key: newKey() });
    if (item.form === "fill") await changeDraft("mix", null);
    recorded = true;
    await show(item, answer, item.id === pressed);
  }
  return recorded;
}

// reasonsOf are those for which a page takes nothing.
function reasonsOf(page) {
  const said = page.querySelectorAll("main .stopped .reasons li, main [role=alert] li, main .problem[role=alert] p:not(:has(a))");
  return [...new Set([...said].map((e) => e.textContent.trim().replace(/[^.]$/, "$&.")))].join(" ") || wordsOf(page) || "the pages do not take it.";
}

// refuse keeps what was refused: in its place, where something was entered after
// it, another was begun in its form or that is gone from the sheet; else as what was
// typed in its form.
async function refuse(item, answer) {
  const then = answer.page.querySelector(".jobsheet") ? answer.page : document;
  const form = then.querySelector(`form[data-kept="${item.form}"]`);
  const key = answer.page.querySelector(`form[data-kept="${item.form}"] [name=key]`)?.value;
  const id = item.step ? item.id : (key ?? item.id); // sent before, once more is another act, and has another key
  const next = another(item);
  if (waiting.length > 1 || !form || next) {
    const change = { ...item, id, body: item.body.map(([n, v]) => [n, n === "key" ? id : v]), tried: false, refused: reasonsOf(answer.page) };
    await changeWaiting((all) => all.map((w) => (w.id === item.id ? change : w)));
    if (!item.step && !next && drafts[item.form]) await changeDraft(item.form, { ...drafts[item.form], key: id });
  } else {
    if (!item.step) await changeDraft(item.form, { at: item.at, values: saidIn(form, item), ...drafts[item.form], key: id });
    await drop(item.id);
  }
  if (!next) return show(item, answer, true);
  stale = true; // the page that answers has what was refused in the fields of the next
  await look();
}

// attempt sends one; nothing comes back where it is still to be sent.
async function attempt(item) {
  if (item.by !== technician) {
    why = item.by ? `entered by ${item.by}; ${item.by} has to sign in to send it` : "entered before anybody signed in; undo it and enter it again";
    return null;
  }
  const body = item.body.filter(([name, value]) => name !== "day" || value);
  // Without a day it is done today: on the day when it was pressed.
  if (item.day !== dayOf(Date.now()) && !body.some(([name]) => name === "day")) body.push(["day", item.day]);
  if (!item.tried) await changeWaiting((all) => all.map((w) => (w.id === item.id ? { ...w, tried: true } : w)));
  try {
    const answer = await post(item.action, body);
    if (!answer.signedOut && answer.status < 500 && answer.status !== 429) return answer;
    why = answer.signedOut ? signedOut : "the pages could not take it";
  } catch {
    why = "no connection";
  }
  unsure = true;
  return null;
}

// show shows what came of one: in its step, else in the whole sheet. Only
// somebody who pressed is led elsewhere or scrolled to it.
async function show(item, answer, lead) {
  const form = formNamed(item.form);
  const step = item.step && document.getElementById(item.step);
  const then = item.step && answer.page.getElementById(item.step);
  if (step && then) {
    const phase = form.closest("details");
    const fresh = answer.page.getElementById(phase.id);
    const had = step.contains(document.activeElement);
    step.replaceWith(then);
    if (!answer.recorded) say(then, "Not recorded. " + reasonsOf(answer.page));
    if (had) then.querySelector("button, input")?.focus({ preventScroll: true });
    phase.querySelector("summary").replaceWith(fresh.querySelector("summary"));
    const key = fresh.querySelector("form.checks [name=key]");
    if (answer.recorded && key) form.elements.key.value = key.value;
    for (const e of fieldsIn(form)) if (!firstValues.has(e)) firstValues.set(e, valueOf(e));
    await keep(form);
    takeOffers(answer.page);
    return;
  }
  if (!answer.page.querySelector(".jobsheet")) {
    if (!answer.recorded) {
      if (form) say(form, "Not recorded. " + wordsOf(answer.page));
    } else if (lead && waiting.length === 0) location.assign(answer.address);
    else stale = unsure = true; // recorded, and its page is another one: the sheet is asked for again
    return;
  }
  const at = form?.elements.at?.value;
  replaceMain(answer.page);
  if (!lead) return;
  const alert = document.querySelector("main [role=alert] a, main [role=alert]");
  if (answer.recorded || !alert) {
    document.getElementById(at)?.scrollIntoView();
    return;
  }
  (document.getElementById(decodeURIComponent(alert.hash ?? "").slice(1)) ?? alert).scrollIntoView({ block: "center" });
  document.querySelector("main [aria-invalid=true]")?.focus();
}

// takeOffers puts what a newer page offers, such as the figures of a step that is
// on record now, into fields that nobody has typed into.
function takeOffers(page) {
  for (const e of document.querySelectorAll("form[data-kept]:not(.checks) :is(input, select)")) {
    const now = e.id && page.getElementById(e.id);
    if (!now || typed(e) || valueOf(now) === valueOf(e)) continue;
    putIn(e, valueOf(now));
    firstValues.set(e, valueOf(e));
  }
}

// replaceMain shows another state of the sheet, with what is open and being
// typed as it was.
function replaceMain(page) {
  const focused = document.activeElement;
  const form = focused.closest("form[data-kept]")?.dataset.kept;
  const open = [...document.querySelectorAll("main details[id][open]")].map((d) => d.id);
  document.querySelector("main").replaceChildren(...page.querySelector("main").childNodes);
  unanswered = false;
  shown = { top: "", lines: "" };
  for (const id of open) document.getElementById(id)?.setAttribute("open", "");
  begin();
  const same = focused.name ? formNamed(form)?.querySelector(`[name="${focused.name}"][value="${CSS.escape(focused.value)}"]`) : null;
  (document.getElementById(focused.id) ?? same ?? formNamed(form)?.querySelector("[type=submit]"))?.focus({ preventScroll: true });
}

// whole tells that a step is ticked and has the figure that belongs to it.
const whole = (step) =>
  step.querySelector("input[type=checkbox]")?.checked && [...step.querySelectorAll(".figure-field input, .figure-field select")].every((e) => e.value !== "");

function begin() {
  for (const form of document.querySelectorAll("form[data-live]")) {
    form.addEventListener("input", () => keep(form));
    if (bringBack(form)) setTimeout(askAgain);
  }
  for (const form of document.querySelectorAll("form[data-kept]")) {
    bringBack(form);
    form.addEventListener("input", () => keep(form));
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      enter(form, event.submitter);
    });
    if (!form.classList.contains("checks")) continue;
    form.addEventListener("change", async (event) => {
      const step = event.target.closest("li");
      if (!step) return;
      if (whole(step)) return enter(form, null, step);
      const item = waiting.find((w) => w.step === step.id);
      if (item && !step.querySelector("input[type=checkbox]").checked) undo(item);
    });
  }
  mark();
}

async function load() {
  const [kept, held] = await idbKeyval.getMany([names.drafts, names.waiting]).catch(() => []);
  const aged = (draft, days) => Date.now() - draft.at > days * 864e5;
  const lasting = ([name, draft]) => !draft.last && !(name === "mix" && aged(draft, questionDays));
  const fresh = (all) => Object.fromEntries(Object.entries(all ?? {}).filter(lasting).map(([name, draft]) => [name, { ...draft, last: aged(draft, draftDays) }]));
  drafts = fresh(kept);
  if (JSON.stringify(drafts) !== JSON.stringify(kept ?? {})) await idbKeyval.update(names.drafts, fresh).catch(() => {});
  waiting = held ?? [];
  unsure = stale || waiting.length > 0;
  // A question that was asked without a connection is asked with what was typed.
  if (stale) for (const form of document.querySelectorAll("form[data-live]")) putBack(form, Object.fromEntries(new URLSearchParams(location.search)));
  const other = unanswered;
  begin();
  if (other) {
    clearOffers();
    document.getElementById("mix-answer")?.replaceChildren("Not connected: this question is answered when connected.");
  }
  document.addEventListener("asked", clearOffers);
  document.addEventListener("unanswered", () => {
    unsure = true;
    clearTimeout(later);
    later = setTimeout(deliver, againAfter);
  });
  document.addEventListener("answered", ({ detail: page }) => {
    unanswered = false;
    takeOffers(page);
    // Nothing leads back to the question before.
    const asked = page.querySelector("form[data-kept] > input[name=q]").value;
    for (const q of document.querySelectorAll("form[data-kept] > input[name=q]")) q.value = asked;
  });
  addEventListener("online", () => deliver());
  addEventListener("offline", () => {
    why = "no connection";
    unsure = true;
    mark();
  });
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") deliver();
  });
  if (unsure) await deliver();
}

load();

// A job sheet that was opened is shown without a connection too: worker.js keeps
// it, as it was asked for last. The first visit came before the worker.
async function remember() {
  if (!navigator.serviceWorker?.controller) return;
  await fetch(sheet + location.search, { headers: { Accept: "text/html" } }).catch(() => {}); // what was kept before stays
}

if (navigator.serviceWorker) {
  navigator.serviceWorker.addEventListener("controllerchange", remember);
  navigator.serviceWorker.register("/worker.js").catch(() => {}); // not allowed: the sheet works as any page
}
