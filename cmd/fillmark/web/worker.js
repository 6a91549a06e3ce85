// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Shows a job sheet that was opened before while there is no connection, the list
// of the loops on record, and the page that scans. The network is always asked
// first, and nothing but these, the page that says "not connected" and what they
// are drawn with is kept: no other page, and no answer to a form. What is kept
// says of itself as of when it is. The lines above name the build, what another
// one kept is thrown away, and what our labels say: our hosts, and the path below
// which their addresses stand.
"use strict";

const sheets = `sheets ${build}`; // ends with the sign-out
const drawn = `drawn ${build}`; // names nobody
const keptDays = 7;
const mostSheets = 20;
const patience = 4_000; // ms

// Kept beside the sheets by whoever opens one of the bench's first pages.
const [scanner, register] = ["/scan", "/register"];
const benches = ["/", "/loops", scanner];
const besideAgain = 5 * 60_000; // ms

const sheetOf = /^\/loops\/([0-9A-Za-z-]+)\/refill$/;
const loopOf = /^\/loops\/([0-9A-Za-z-]+)$/;
// Pages before the sign-in and those of owners are not the bench's.
const foreign = /^\/(o|stop|log|api)\//;
const signs = /^\/(sign-|password\/|start\/)/; // somebody in or out

addEventListener("install", (event) => {
  skipWaiting();
  event.waitUntil(keepDrawn());
});

addEventListener("activate", (event) => {
  event.waitUntil(takeOver());
});

async function takeOver() {
  for (const name of await caches.keys()) if (name !== sheets && name !== drawn) await caches.delete(name);
  await clients.claim();
}

// A phone that lay in a drawer holds nothing from before.
caches.has(sheets).then(async (has) => has && dropOld(await caches.open(sheets)));

addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname, search } = new URL(request.url);
  if (origin !== location.origin) return;
  if (signs.test(pathname)) {
    signedOut++;
    event.waitUntil(caches.delete(sheets));
    return;
  }
  if (request.method !== "GET" || foreign.test(pathname)) return;
  if (sheetOf.test(pathname)) event.respondWith(sheet(event, pathname, search));
  else if (pathname.startsWith("/static/")) event.respondWith(fetch(request).catch(async () => (await caches.match(request)) ?? Response.error()));
  else if (request.mode === "navigate") event.respondWith(page(event, pathname, search));
});

// answerTo asks the network. Somebody who opens what is kept does not wait for a
// line that is hardly there, nor is shown that a proxy reached nobody: it fails then.
async function answerTo(event, path) {
  const asked = fetch(event.request);
  const has = event.request.mode === "navigate" && (await caches.has(sheets)) && (await (await caches.open(sheets)).match(path));
  if (!has) return asked;
  asked.catch(() => {}); // it may fail after it was waited for
  const waited = new Promise((_, fail) => setTimeout(fail, patience, new Error("the line is slow")));
  const answer = await Promise.race([asked, waited]);
  if (answer.status >= 502 && answer.status <= 504) throw new Error("nobody answers");
  return answer;
}

async function page(event, path, search) {
  try {
    const answer = await answerTo(event, path);
    if (answer.ok && benches.includes(path)) event.waitUntil(keepBeside());
    return answer;
  } catch {
    return instead(path, search);
  }
}

async function keepBeside() {
  const before = signedOut;
  const cache = await caches.open(sheets);
  for (const path of [register, scanner]) {
    const had = await cache.match(path);
    if (had && Date.now() - Number(had.headers.get("X-Kept")) < besideAgain) continue;
    const answer = await fetch(path, { headers: { Accept: "text/html" } });
    if (answer.redirected) return caches.delete(sheets); // to the sign-in
    if (answer.ok) await keepPage(cache, path, answer);
  }
  if (signedOut !== before) await caches.delete(sheets);
}

// signedOut counts: a sheet that was on its way meanwhile is not kept.
let signedOut = 0;

// sheet asks the network, and keeps what it answers. Only somebody who opens the
// page is shown what is kept; a question of the page's script fails.
async function sheet(event, path, search) {
  const before = signedOut;
  let answer;
  try {
    answer = await answerTo(event, path);
  } catch {
    return event.request.mode === "navigate" ? instead(path, search) : Response.error();
  }
  if (answer.redirected) event.waitUntil(caches.delete(sheets)); // to the sign-in: the one before has ended
  else if (answer.ok) event.waitUntil(keepSheet(path, search, answer.clone(), before));
  return answer;
}

async function keepPage(cache, path, answer, search) {
  const page = await answer.text();
  await keepFiles(page);
  await dropOld(cache);
  await cache.put(path, kept(page, answer, search));
}

const sheetsIn = async (cache) => (await cache.keys()).filter((request) => sheetOf.test(new URL(request.url).pathname)); // the newest last

async function keepSheet(path, search, answer, before) {
  const cache = await caches.open(sheets);
  await keepPage(cache, path, answer, search);
  const all = await sheetsIn(cache);
  for (const old of all.slice(0, -mostSheets)) await cache.delete(old);
  if (signedOut !== before) await caches.delete(sheets);
}

async function dropOld(cache) {
  for (const old of await cache.keys()) {
    const answer = await cache.match(old);
    if (answer && Date.now() - Number(answer.headers.get("X-Kept")) > keptDays * 864e5) await cache.delete(old);
  }
}

// kept is a page as it is kept: with its headers, among them the policy of what
// it may load, when it was, and what it was asked.
function kept(page, answer, search = "") {
  const headers = new Headers(answer.headers);
  for (const name of ["Content-Encoding", "Content-Length"]) headers.delete(name); // of the way here
  headers.set("X-Kept", Date.now());
  headers.set("X-Search", search);
  return new Response(page, { headers });
}

// keepFiles keeps what a page is drawn with. An address of these never gets
// another content.
async function keepFiles(page) {
  const cache = await caches.open(drawn);
  for (const [, path] of page.matchAll(/="(\/static\/[^"]+)"/g)) if (!(await cache.match(path))) await cache.add(path);
}

async function keepDrawn() {
  const answer = await fetch("/not-connected", { credentials: "omit" });
  const page = await answer.text();
  await keepFiles(page);
  await (await caches.open(drawn)).put("/not-connected", kept(page, answer));
}

// tagIn is the tag in the code of a label of ours, by any of our names, or as
// somebody typed it: what the bench reads there, too.
function tagIn(code) {
  const path = URL.canParse(code) ? pathIn(new URL(code)) : `/loops/${code.replaceAll(" ", "")}`;
  const tag = loopOf.exec(path)?.[1].replaceAll("-", "").toUpperCase();
  return tag?.replaceAll("O", "0").replaceAll(/[IL]/g, "1");
}

const nameOf = (at) => at.hostname.replaceAll(/^\[|\]$|\.$/g, "");

// pathIn is the path of a page of ours in an address; empty in any other.
function pathIn(at) {
  if (!/^https?:$/.test(at.protocol) || ![nameOf(location), ...hosts].includes(nameOf(at))) return "";
  return at.pathname.startsWith(below) ? at.pathname.slice(below.length) : at.pathname;
}

// leads is where a page that cannot be asked for leads: what scans or names a
// loop to its sheet, else to its line of the list. Nothing where it leads nowhere.
async function leads(cache, path, search) {
  const list = await cache.match(register);
  if (path === "/loops") return list && register;
  const asked = new URLSearchParams(search);
  const tag = path === scanner ? tagIn(asked.get("tag") ?? asked.get("code") ?? "") : loopOf.exec(path)?.[1];
  if (!tag) return null;
  if (await cache.match(`/loops/${tag}/refill`)) return `/loops/${tag}/refill${path === scanner ? "#topups" : ""}`;
  return list && (await list.text()).includes(`<tr id="${tag}">`) ? `${register}#${tag}` : null;
}

// instead is what is shown for a page that cannot be asked for: where it leads,
// the page as it was, else that there is no connection and what is kept. A sheet
// that answers another question than the one asked says so to its script; a code
// that leads nowhere is not answered by looking for another.
async function instead(path, search = "") {
  const cache = await caches.open(sheets);
  await dropOld(cache);
  const to = await leads(cache, path, search);
  if (to) return Response.redirect(to);
  const tags = (await sheetsIn(cache)).map((request) => sheetOf.exec(new URL(request.url).pathname)[1]);
  const answer = path === scanner && search ? null : await cache.match(path);
  if (!answer) return notConnected(cache, tags);
  const offline = search && search !== answer.headers.get("X-Search") ? 'id="offline" data-other' : 'id="offline"';
  const open = (page) => page.replace('id="offline" hidden', offline).replace('<details id="topups"', '<details id="topups" open');
  return shown(answer, 200, (page) => tags.reduce((all, tag) => all.replace(`id="kept-${tag}" hidden`, `id="kept-${tag}"`), open(page)));
}

async function notConnected(cache, tags) {
  const all = tags.map((tag) => [`/loops/${tag}/refill`, `Job sheet ${tag}`]);
  for (const beside of [[register, "Loops on record"], [scanner, "Scan a label"]]) if (await cache.match(beside[0])) all.unshift(beside);
  const links = all.map(([to, words]) => `<li><a class="call" href="${to}">${words}</a></li>`).join("");
  return shown(await caches.match("/not-connected"), 503, (page) => (links ? page.replace('id="kept" hidden', 'id="kept"').replace("<li></li>", links) : page));
}

async function shown(answer, status, changed) {
  return new Response(changed(await answer.text()), { status, headers: answer.headers });
}
