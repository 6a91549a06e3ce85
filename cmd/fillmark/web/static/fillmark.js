// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// A form with data-live="ID" asks its own address again while it is filled
// in, and shows the part of the answer's page that has the ID. Without this
// file the form's button does the same. A form that takes the place of another
// on the page asks as that one did.
"use strict";

const live = new WeakMap(); // by form: its timer, what was asked last, and what was typed into answers

// The fields of a form, whatever their kind.
const ticks = (e) => e.type === "checkbox" || e.type === "radio";
const valueOf = (e) => (ticks(e) ? e.checked : e.value);
const fieldKey = (e) => (ticks(e) ? `${e.name}=${e.value}` : e.name);

function putIn(e, value) {
  if (ticks(e)) e.checked = value;
  else e.value = value;
}

// fieldsIn are the inputs that somebody fills in.
const fieldsIn = (part) => [...part.querySelectorAll("input:not([type=hidden], [type=file], [type=password]), select, textarea")].filter((e) => e.name);

// changed tells that a field no longer holds what its page came with.
function changed(e) {
  if (ticks(e)) return e.checked !== e.defaultChecked;
  if (!e.options) return e.value !== e.defaultValue;
  return e.selectedIndex !== Math.max(0, [...e.options].findIndex((o) => o.defaultSelected));
}

// dayOf is the day on this device's calendar, as a form writes it.
function dayOf(at) {
  const d = new Date(at);
  return `${d.getFullYear()}-${String(d.getMonth() + 1).padStart(2, "0")}-${String(d.getDate()).padStart(2, "0")}`;
}

// clock is when it was, with the day where that is another than today.
function clock(at) {
  const day = dayOf(at) === dayOf(Date.now()) ? {} : { weekday: "short", day: "numeric", month: "short" };
  return new Date(at).toLocaleString([], { ...day, hour: "2-digit", minute: "2-digit" });
}

// An answer that people act on holds for the question it was asked with: while
// another is typed it is hidden, and nothing in it can be pressed. A list that is
// searched only narrows.
const judged = (form) => form.classList.contains("ask");
const answerOf = (form) => document.getElementById(form.dataset.live);
const announce = (form, what, page) => form.dispatchEvent(new CustomEvent(what, { bubbles: true, detail: page }));

document.addEventListener("input", ({ target }) => {
  const form = target.closest("form[data-live]");
  if (!form) return;
  const last = live.get(form) ?? { typed: {} };
  live.set(form, last);
  if (judged(form)) answerOf(form).inert = true;
  announce(form, "asked");
  last.asked?.abort();
  clearTimeout(last.timer);
  last.timer = setTimeout(() => ask(form, last), 400);
});

async function ask(form, last) {
  last.asked = new AbortController();
  const address = new URL(form.action);
  address.hash = "";
  address.search = new URLSearchParams(new FormData(form)).toString();
  let answer;
  let page;
  try {
    const signal = AbortSignal.any([last.asked.signal, AbortSignal.timeout(20_000)]);
    answer = await fetch(address, { signal, headers: { Accept: "text/html" } });
    page = new DOMParser().parseFromString(await answer.text(), "text/html");
  } catch (fault) {
    // given up for a newer question, or no connection: the button still works
    if (fault.name !== "AbortError") noAnswer(form, last, "Not connected: this question is answered when connected.");
    return;
  }
  const then = page.getElementById(form.dataset.live);
  if (!then) {
    const ended = new URL(answer.url).pathname === "/sign-in";
    noAnswer(form, last, ended ? "Not answered: your sign-in has ended. Sign in again in another window, then press the button." : "Not answered: the pages do not answer. Press the button once more.");
    return;
  }
  form.querySelector(":scope > .said")?.remove();
  const now = answerOf(form);
  if (judged(form)) {
    history.replaceState(null, "", address); // what is shown is what the address asks
    keepTyped(now, last);
  } else if (now.contains(document.activeElement)) return; // never taken away from under somebody
  now.replaceChildren(...then.childNodes);
  now.inert = false;
  bringTyped(now, last);
  showProblems(form, page);
  announce(form, "answered", page);
}

// noAnswer says why there is none, in the place of the one to another question.
function noAnswer(form, last, words) {
  if (!judged(form)) return say(form, words);
  const now = answerOf(form);
  keepTyped(now, last);
  now.replaceChildren(words);
  now.inert = false;
  announce(form, "unanswered");
}

// What somebody typed into an answer, such as how much was poured, goes on into
// the next.
function keepTyped(part, last) {
  for (const e of fieldsIn(part)) {
    if (changed(e)) last.typed[fieldKey(e)] = valueOf(e);
    else delete last.typed[fieldKey(e)];
  }
}

function bringTyped(part, last) {
  for (const e of fieldsIn(part)) {
    if (!(fieldKey(e) in last.typed)) continue;
    putIn(e, last.typed[fieldKey(e)]);
    e.closest("details")?.setAttribute("open", "");
  }
}

// Going back from an answer shows the questions as they were typed.
for (const form of document.querySelectorAll("form[method=get].ask")) {
  form.addEventListener("submit", () => {
    const typed = new URLSearchParams(new FormData(form));
    typed.set("draft", "yes");
    history.replaceState(null, "", "?" + typed);
  });
}

// An input with data-find="ID" asks the form's address for what it holds, and
// shows the part of the answer's page that has the ID: who and what on record
// fits. The form's button does the same without this file.
for (const input of document.querySelectorAll("input[data-find]")) {
  const id = input.dataset.find;
  let timer = 0;
  let asked = null;
  const ask = async () => {
    asked = new AbortController();
    const address = new URL(input.form.action);
    address.search = new URLSearchParams({ [input.name]: input.value }).toString();
    try {
      const answer = await fetch(address, { signal: asked.signal, headers: { Accept: "text/html" } });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const chosen = input.form.querySelector(`#${id} input:checked`)?.value; // since the last key
      const then = page.getElementById(id);
      if (!then) return;
      document.getElementById(id).replaceChildren(...then.childNodes);
      for (const one of document.querySelectorAll(`#${id} [type=radio]`)) one.checked = one.value === chosen;
    } catch {
      return; // given up for a newer question, or no connection
    }
  };
  input.addEventListener("input", () => {
    // What was chosen was found for other words.
    for (const one of document.querySelectorAll(`#${id} [type=radio]`)) one.checked = false;
    asked?.abort();
    clearTimeout(timer);
    timer = setTimeout(ask, 250);
  });
}

// Keys: / goes to the search, and on a job sheet a number to the step that has
// it. Nothing happens while somebody types in a field, and who dictates to the
// machine can switch the keys off (WCAG 2.2, 2.1.4).
const keysOff = () => {
  try {
    return localStorage.getItem("keys") === "off";
  } catch {
    return false; // no storage allowed
  }
};
const typing = (e) => e.closest("input:not([type=checkbox], [type=radio]), textarea, select, [contenteditable]");

// begun tells that something was typed into a form, or a file chosen, that is not sent.
const begun = (form) => fieldsIn(form).some(changed) || [...form.querySelectorAll("input[type=file]")].some((e) => e.files.length > 0);

// toSearch leaves no page on which a form was begun.
function toSearch() {
  const field = document.querySelector("input[type=search], #who");
  if (field) field.focus();
  else if (![...document.querySelectorAll("main form[method=post]")].some(begun)) location.assign("/loops");
}

// toStep goes to a step of the job sheet: to its tick, or to what takes it back.
function toStep(number) {
  const step = document.querySelector(`.work > li[value="${number}"]`);
  if (!step) return false;
  for (let d = step.closest("details"); d; d = d.parentElement.closest("details")) d.open = true;
  step.querySelector("input, button")?.focus({ preventScroll: true });
  step.scrollIntoView({ block: "center" });
  return true;
}

let digits = "";
let lastDigit = 0;
document.addEventListener("keydown", (event) => {
  if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey || keysOff() || typing(event.target)) return;
  if (event.key === "/") {
    event.preventDefault();
    toSearch();
    return;
  }
  if (!/^[0-9]$/.test(event.key)) return;
  // Two figures soon after one another are one number.
  digits = (event.timeStamp - lastDigit < 800 ? digits : "") + event.key;
  lastDigit = event.timeStamp;
  if (toStep(digits)) event.preventDefault();
});

const keySwitch = document.getElementById("keys");
if (keySwitch) {
  const shown = () => {
    keySwitch.querySelector("button").textContent = keysOff() ? "Switch the keys on" : "Switch the keys off";
  };
  keySwitch.hidden = false;
  keySwitch.querySelector("button").addEventListener("click", () => {
    localStorage.setItem("keys", keysOff() ? "on" : "off");
    shown();
  });
  shown();
}

// The first field that is wrong has the focus, and what hides it is open.
const wrong = document.querySelector("[aria-invalid]");
if (wrong) {
  wrong.closest("details")?.setAttribute("open", "");
  wrong.focus();
}

// showProblems puts what is wrong with each field beside it, and takes away
// what no longer is.
function showProblems(form, page) {
  for (const input of form.querySelectorAll("input[id], select[id]")) {
    const id = input.id + "-problem";
    document.getElementById(id)?.remove();
    const problem = page.getElementById(id);
    if (!problem || input.value === "") {
      input.removeAttribute("aria-invalid");
      continue;
    }
    input.setAttribute("aria-invalid", "true");
    input.setAttribute("aria-describedby", id);
    input.after(problem);
  }
}

// What is said beside a form: one line at its head.
function say(form, words) {
  form.querySelector(":scope > .said")?.remove();
  const line = document.createElement("p");
  line.className = "kept said";
  line.setAttribute("role", "status");
  line.append(words);
  form.prepend(line);
}

// post sends what a form says. It returns the page that answers, and whether it
// is on record; it throws where nobody answers.
async function post(action, body) {
  const sent = { method: "POST", body: new URLSearchParams(body), headers: { Accept: "text/html" }, signal: AbortSignal.timeout(20_000) };
  const answer = await fetch(action, sent);
  const address = new URL(answer.url);
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const signedOut = address.pathname === "/sign-in" || answer.status === 401;
  return { page, address, status: answer.status, signedOut, recorded: answer.redirected && answer.ok };
}

// send posts a form and says beside it where nothing came of that.
async function send(form, body) {
  form.setAttribute("aria-busy", "true");
  try {
    const answer = await post(form.action, body);
    if (!answer.signedOut) return answer;
    say(form, "Not recorded: sign in again first. What you typed stays here.");
  } catch {
    say(form, "Not recorded: no connection. Press again when there is one.");
  } finally {
    form.removeAttribute("aria-busy");
  }
  return null;
}

// wordsOf is what a page that is no form has to say against what was sent.
const wordsOf = (page) => [...page.querySelectorAll("main dd, main .lead")].map((e) => e.textContent.trim()).join(" ");

// Every page but a sheet itself says which sheets have something that is not
// recorded yet; kept.js notes them here.
if (document.querySelector("nav a[href='/loops']") && !document.querySelector(".jobsheet")) {
  let sheets = {};
  try {
    sheets = JSON.parse(localStorage.getItem("not recorded")) ?? {};
  } catch {
    // no storage allowed: nothing is kept either
  }
  for (const [path, count] of Object.entries(sheets)) {
    const line = document.createElement("p");
    line.className = "kept noprint";
    const link = document.createElement("a");
    link.className = "call";
    link.href = path;
    link.textContent = `Not yet recorded on the job sheet ${path.split("/")[2]}: ${count}`;
    line.append(link);
    document.querySelector("main").prepend(line);
  }
}

// The list of what is due is worked off where one stands: a call, an agreed day
// or what was done is sent, and the answer takes the place of what it is about,
// with a button that takes it back. Nobody is led to the top of the page.
const due = document.getElementById("due");

// dealtWith puts what was just written down in the place of a person. Who has
// more to do stays below it: the answer shows all that they still have.
function dealtWith(person, answer, whole) {
  const undo = answer.page.querySelector("form.undo");
  const left = whole ? null : answer.page.getElementById(person.id);
  const place = left ?? document.createElement("article");
  if (!left) {
    place.className = "person short";
    place.id = person.id;
    place.append(person.querySelector("h3"));
  }
  place.classList.add("dealt");
  if (undo) place.prepend(undo);
  person.replaceWith(place);
  counted(answer.page);
  place.querySelector("form.undo button")?.focus({ preventScroll: true });
  const top = place.getBoundingClientRect().top;
  if (top < 0) place.scrollIntoView();
}

// counted shows how much is overdue now.
function counted(page) {
  const now = document.querySelector("main > .figure");
  const then = page.querySelector("main > .figure");
  if (now) now.hidden = !then;
  if (now && then) now.replaceChildren(...then.childNodes);
}

// takenBack puts a person back as they were, with all that can be done.
function takenBack(person, answer) {
  const again = answer.page.getElementById(person.id);
  if (!again) {
    location.assign("/");
    return;
  }
  person.replaceWith(again);
  counted(answer.page);
  again.querySelector("button, a")?.focus({ preventScroll: true });
}

async function dealWith(form, button) {
  const person = form.closest(".person");
  const body = new FormData(form, button);
  body.set("from", person.id); // answered with what this one still has to do, on whatever page that stands
  const answer = await send(form, body);
  if (!answer) return;
  const here = form.closest(".here");
  if (answer.recorded) {
    if (form.classList.contains("undo")) takenBack(person, answer);
    else dealtWith(person, answer, !here);
    return;
  }
  if (here) {
    place(here, answer.page);
    return;
  }
  say(form, "Not recorded. " + wordsOf(answer.page));
}

// place shows the form of an answer in the list; its ids get a name of their
// own, since another loop's may stand there too.
function place(here, page) {
  const form = page.getElementById("done");
  if (!form) return;
  const own = (id) => `${here.dataset.tag}-${id}`;
  for (const e of form.querySelectorAll("[id]")) e.id = own(e.id);
  for (const e of form.querySelectorAll("[for]")) e.htmlFor = own(e.htmlFor);
  for (const e of form.querySelectorAll("[aria-describedby]")) e.setAttribute("aria-describedby", own(e.getAttribute("aria-describedby")));
  for (const e of form.querySelectorAll("a[href^='#']")) e.hash = own(e.hash.slice(1));
  here.replaceChildren(...form.childNodes);
  (here.querySelector("[aria-invalid]") ?? here.querySelector("input:not([type=hidden]), select")).focus();
}

// pageAt asks for what a link leads to, once at a time, and says beside it where
// nobody answers.
async function pageAt(link, address, beside) {
  if (link.ariaBusy) return null;
  link.ariaBusy = "true";
  try {
    const answer = await fetch(address, { headers: { Accept: "text/html" }, signal: AbortSignal.timeout(20_000) });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    beside.querySelector(":scope > .said")?.remove();
    return page;
  } catch {
    say(beside, "No connection. Press again when there is one.");
    return null;
  } finally {
    link.ariaBusy = null;
  }
}

// openHere opens the form that a link leads to below the link; a second press
// closes it, and what was typed stays.
async function openHere(link) {
  const item = link.closest("li");
  const old = item.querySelector(":scope > .here");
  if (old && old.dataset.of === link.href) {
    old.hidden = !old.hidden;
    return;
  }
  const page = await pageAt(link, link.href, item);
  if (!page) return;
  if (!page.getElementById("done")) {
    location.assign(link.href);
    return;
  }
  item.querySelector(":scope > .here")?.remove();
  const here = document.createElement("div");
  here.className = "here";
  here.dataset.of = link.href;
  here.dataset.tag = new URL(link.href).pathname.split("/")[2];
  item.append(here);
  place(here, page);
}

// showMore adds the people who come after the last one who is still to be dealt
// with, since those who were have moved. Who stands on the page stands there once.
async function showMore(link) {
  let after = [...due.querySelectorAll(".person:not(.dealt)")].at(-1)?.id ?? "";
  for (;;) {
    const page = await pageAt(link, `/?after=${after}`, link.parentElement);
    if (!page) return;
    const people = [...page.querySelectorAll("#due .person")];
    const fresh = people.filter((p) => !document.getElementById(p.id));
    for (const group of page.querySelectorAll("#due > section")) {
      const theirs = fresh.filter((p) => group.contains(p));
      const here = document.getElementById(group.id);
      if (here) (here.querySelector(":scope > details") ?? here).append(...theirs);
      else if (theirs.length > 0) {
        for (const p of group.querySelectorAll(".person")) if (!theirs.includes(p)) p.remove();
        due.querySelector(":scope > nav").before(group);
      }
    }
    const next = people.length > 0 && page.querySelector("#due a[rel=next]");
    if (!next) link.remove();
    if (fresh.length > 0 || !next) {
      fresh[0]?.scrollIntoView();
      fresh[0]?.querySelector("a, button")?.focus({ preventScroll: true });
      return;
    }
    after = people.at(-1).id;
  }
}

due?.addEventListener("submit", (event) => {
  event.preventDefault();
  dealWith(event.target, event.submitter);
});
due?.addEventListener("click", (event) => {
  const link = event.target.closest("a[data-here], a[rel=next]");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  if (link.rel === "next") showMore(link);
  else openHere(link);
});
