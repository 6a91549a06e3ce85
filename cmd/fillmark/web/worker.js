// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Shows a job sheet that was opened before while there is no connection. The
// network is always asked first, and nothing but job sheets, the page that says
// "not connected" and what both are drawn with is kept: no other page, and no
// answer to a form. What is kept says of itself as of when it is. The line
// above names the build; what another one kept is thrown away.
"use strict";

const sheets = `sheets ${build}`; // ends with the sign-out
const drawn = `drawn ${build}`; // names nobody
const keptDays = 7;
const mostSheets = 20;

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
  else if (request.mode === "navigate") event.respondWith(fetch(request).catch(() => instead(pathname)));
});

// signedOut counts: a sheet that was on its way meanwhile is not kept.
let signedOut = 0;

// sheet asks the network, and keeps what it answers. Only somebody who opens the
// page is shown what is kept; a question of the page's script fails.
async function sheet(event, path, search) {
  const before = signedOut;
  let answer;
  try {
    answer = await fetch(event.request);
  } catch {
    return event.request.mode === "navigate" ? instead(path, search) : Response.error();
  }
  if (answer.redirected) event.waitUntil(caches.delete(sheets)); // to the sign-in: the one before has ended
  else if (answer.ok) event.waitUntil(keepSheet(path, search, answer.clone(), before));
  return answer;
}

async function keepSheet(path, search, answer, before) {
  const page = await answer.text();
  const cache = await caches.open(sheets);
  await keepFiles(page);
  await dropOld(cache);
  await cache.put(path, kept(page, answer, search));
  const all = await cache.keys(); // the newest last
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
  for (const [, path] of page.matchAll(/(?:href|src)="(\/static\/[^"]+)"/g)) if (!(await cache.match(path))) await cache.add(path);
}

async function keepDrawn() {
  const answer = await fetch("/not-connected", { credentials: "omit" });
  const page = await answer.text();
  await keepFiles(page);
  await (await caches.open(drawn)).put("/not-connected", kept(page, answer));
}

// instead is what is shown for a page that cannot be asked for: the sheet as it
// was, for the address on a loop's label its sheet, else that there is no
// connection and which sheets are kept. A sheet that answers another question
// than the one asked says so to its script.
async function instead(path, search = "") {
  const cache = await caches.open(sheets);
  await dropOld(cache);
  const scanned = loopOf.exec(path);
  if (scanned && (await cache.match(`${path}/refill`))) return Response.redirect(`${path}/refill`);
  const answer = await cache.match(path);
  const offline = search && search !== answer?.headers.get("X-Search") ? 'id="offline" data-other' : 'id="offline"';
  if (answer) return shown(answer, 200, (page) => page.replace('id="offline" hidden', offline).replace('<details id="topups"', '<details id="topups" open'));
  const tags = (await cache.keys()).map((request) => sheetOf.exec(new URL(request.url).pathname)[1]);
  const links = tags.map((tag) => `<li><a class="call" href="/loops/${tag}/refill">${tag}</a></li>`).join("");
  return shown(await caches.match("/not-connected"), 503, (page) => (tags.length > 0 ? page.replace('id="kept" hidden', 'id="kept"').replace("<li></li>", links) : page));
}

async function shown(answer, status, changed) {
  return new Response(changed(await answer.text()), { status, headers: answer.headers });
}
