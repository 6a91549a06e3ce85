// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Looks for a label with the camera and sends what its code says, as if it had
// been typed: the server alone knows what a label opens. The browser reads the
// code, or a decoder that is loaded where it cannot. Where there is no camera the
// page says what to do, and typing works.
"use strict";

const view = document.getElementById("camera");
const field = document.getElementById("code");
const pause = 80; // ms between two looks: a phone has other things to do, too

// What was just refused is not sent again, nor the label that led here: the
// camera still sees it.
const refused = field.value;
const past = (code) => code === refused || (view.dataset.past && code.endsWith(view.dataset.past));

let stream = null;

function tell(why) {
  close();
  view.hidden = true;
  document.getElementById(`camera-${why}`).hidden = false;
}

async function open() {
  for (const told of document.querySelectorAll(".notice[id^=camera-]")) told.hidden = true; // of another try
  if (!isSecureContext) return tell("insecure");
  view.hidden = false; // at once: what is pressed below does not move away later
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment", width: { ideal: 1280 } } });
  } catch (fault) {
    tell(fault.name === "NotAllowedError" ? "denied" : "none");
  }
}

function close() {
  for (const track of stream?.getTracks() ?? []) track.stop();
  stream = null;
}

async function newReader() {
  const formats = ["qr_code"];
  const own = globalThis.BarcodeDetector;
  if (own && (await own.getSupportedFormats()).includes(formats[0])) return new own({ formats });
  const { BarcodeDetector } = await import(view.dataset.decoder);
  return new BarcodeDetector({ formats });
}

// read looks until a code is seen; nothing comes back where the camera is gone.
async function read(reader, video, seenBy) {
  while (seenBy.active) {
    const seen = await reader.detect(video).catch(() => []); // no picture yet
    const code = seen.map((c) => c.rawValue.trim()).find((c) => c && !past(c));
    if (code) return code;
    await new Promise((resolve) => setTimeout(resolve, pause));
  }
  return "";
}

async function begin() {
  const [reader] = await Promise.all([newReader().catch(() => null), open()]);
  if (!stream) return;
  if (!reader) return tell("reader");
  const video = view.querySelector("video");
  const camera = (video.srcObject = stream);
  await video.play().catch(() => {}); // a page that is left meanwhile
  const code = await read(reader, video, camera);
  if (camera !== stream) return; // the page was left
  if (!code) return tell("none");
  close();
  // Felt through a glove; a page that was never touched may not.
  if (navigator.userActivation?.hasBeenActive) navigator.vibrate?.(60);
  field.value = code;
  field.form.submit();
}

addEventListener("pagehide", close);
addEventListener("pageshow", (event) => {
  if (event.persisted) begin(); // come back to
});
begin();

// worker.js keeps this page and the list of loops for when there is no connection.
navigator.serviceWorker?.register("/worker.js").catch(() => {}); // not allowed: the page works as any other
