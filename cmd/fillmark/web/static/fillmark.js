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
