// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// A form with data-live="ID" asks its own address again while it is filled
// in, and shows the part of the answer's page that has the ID. Without this
// file the form's button does the same. A form that takes the place of another
// on the page asks as that one did.
"use strict";

const live = new WeakMap(); // by form: its timer, and what was asked last

document.addEventListener("input", ({ target }) => {
  const form = target.closest("form[data-live]");
  if (!form) return;
  const last = live.get(form) ?? {};
  live.set(form, last);
  clearTimeout(last.timer);
  last.timer = setTimeout(() => ask(form, last), 400);
});

async function ask(form, last) {
  last.asked?.abort();
  last.asked = new AbortController();
  const address = new URL(form.action);
  address.hash = "";
  address.search = new URLSearchParams(new FormData(form)).toString();
  let page;
  try {
    const answer = await fetch(address, { signal: last.asked.signal, headers: { Accept: "text/html" } });
    page = new DOMParser().parseFromString(await answer.text(), "text/html");
  } catch (fault) {
    // given up for a newer question, or no connection: the button still works
    if (fault.name !== "AbortError") say(form, "Not connected: answered when there is a connection.");
    return;
  }
  form.querySelector(":scope > .said")?.remove();
  const now = document.getElementById(form.dataset.live);
  const then = page.getElementById(form.dataset.live);
  // What somebody is typing into is never taken away from under them.
  if (!now || !then || now.contains(document.activeElement)) return;
  now.replaceChildren(...then.childNodes);
  showProblems(form, page);
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
    asked?.abort();
    asked = new AbortController();
    const address = new URL(input.form.action);
    address.search = new URLSearchParams({ [input.name]: input.value }).toString();
    try {
      const answer = await fetch(address, { signal: asked.signal, headers: { Accept: "text/html" } });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const chosen = input.form.querySelector(`#${id} input:checked`)?.value;
      const then = page.getElementById(id);
      if (!then) return;
      document.getElementById(id).replaceChildren(...then.childNodes);
      for (const one of document.querySelectorAll(`#${id} input`)) one.checked = one.value === chosen;
    } catch {
      return; // given up for a newer question, or no connection
    }
  };
  input.addEventListener("input", () => {
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

function toSearch() {
  const field = document.querySelector("input[type=search], #who");
  if (field) field.focus();
  else location.assign("/loops");
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

// linesOf are the tasks in a part of the list.
const linesOf = (part) => [...part.querySelectorAll("[data-line]")].map((e) => e.dataset.line);
const tagIn = (line) => line.split(" ")[0];

// told are the loops that a call was just about: what else is due for one was
// part of that call.
const told = new Set();

// dealtWith puts what was just written down in the place of a person. Who has
// more to do in the same group stays below it.
function dealtWith(person, answer, whole) {
  const undo = answer.page.querySelector("form.undo");
  const group = person.closest("section").id;
  if (whole) for (const line of linesOf(person)) told.add(tagIn(line));
  const left = whole ? null : answer.page.querySelector(`#${group} #${person.id}`);
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
  if (!again || !answer.page.querySelector(`#${person.closest("section").id} #${person.id}`)) {
    location.assign(answer.address);
    return;
  }
  for (const line of linesOf(again)) told.delete(tagIn(line));
  person.replaceWith(again);
  counted(answer.page);
  again.querySelector("button, a")?.focus({ preventScroll: true });
}

async function dealWith(form, button) {
  const person = form.closest(".person");
  const answer = await send(form, new FormData(form, button));
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

// openHere opens the form that a link leads to below the link; a second press
// closes it, and what was typed stays.
async function openHere(link) {
  const item = link.closest("li");
  const old = item.querySelector(":scope > .here");
  if (old && old.dataset.of === link.href) {
    old.hidden = !old.hidden;
    return;
  }
  let page;
  try {
    const answer = await fetch(link.href, { headers: { Accept: "text/html" } });
    page = new DOMParser().parseFromString(await answer.text(), "text/html");
  } catch {
    return; // no connection: pressing again asks again
  }
  if (!page.getElementById("done")) {
    location.assign(link.href);
    return;
  }
  old?.remove();
  const here = document.createElement("div");
  here.className = "here";
  here.dataset.of = link.href;
  here.dataset.tag = new URL(link.href).pathname.split("/")[2];
  item.append(here);
  place(here, page);
}

// seen are the tasks that stood on the list since it was opened.
const seen = new Set(due ? linesOf(due) : []);
const perPage = 40;

// showMore adds the tasks that come next. What was dealt with has moved, so it
// begins where they must be by now.
async function showMore(link) {
  const left = linesOf(due).length;
  let address = new URL(link.href);
  address.searchParams.set("page", Math.max(1, Math.floor(left / perPage)));
  while (address) {
    let page;
    try {
      const answer = await fetch(address, { headers: { Accept: "text/html" } });
      page = new DOMParser().parseFromString(await answer.text(), "text/html");
    } catch {
      return; // no connection: pressing again asks again
    }
    const next = page.querySelector("#due a[rel=next]");
    const fresh = [...page.querySelectorAll("#due .person")].filter((p) => linesOf(p).some((l) => !seen.has(l) && !told.has(tagIn(l))));
    for (const person of fresh) {
      const group = person.closest("section");
      linesOf(person).forEach((l) => seen.add(l));
      if (document.getElementById(person.id)) person.id += `-${seen.size}`;
      const here = document.getElementById(group.id);
      if (here) (here.querySelector(":scope > details") ?? here).append(person);
      else {
        for (const p of group.querySelectorAll(".person")) if (!fresh.includes(p)) p.remove();
        due.querySelector(":scope > nav").before(group);
      }
    }
    if (fresh.length > 0 || !next) {
      if (next) link.href = next.href;
      else link.remove();
      fresh[0]?.scrollIntoView();
      fresh[0]?.querySelector("a, button")?.focus({ preventScroll: true });
      return;
    }
    address = new URL(next.href);
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
