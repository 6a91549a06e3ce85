// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// A form with data-live="ID" asks its own address again while it is filled
// in, and shows the part of the answer's page that has the ID. Without this
// file the form's button does the same.
"use strict";

for (const form of document.querySelectorAll("form[data-live]")) {
  const id = form.dataset.live;
  let timer = 0;
  let asked = null;

  const ask = async () => {
    asked?.abort();
    asked = new AbortController();
    const address = new URL(form.action);
    address.hash = "";
    address.search = new URLSearchParams(new FormData(form)).toString();
    let page;
    try {
      const answer = await fetch(address, { signal: asked.signal, headers: { Accept: "text/html" } });
      page = new DOMParser().parseFromString(await answer.text(), "text/html");
    } catch {
      return; // given up for a newer question, or no connection: the button still works
    }
    const now = document.getElementById(id);
    const then = page.getElementById(id);
    // What somebody is typing into is never taken away from under them.
    if (!now || !then || now.contains(document.activeElement)) return;
    now.replaceChildren(...then.childNodes);
    showProblems(form, page);
  };

  form.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(ask, 400);
  });
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
