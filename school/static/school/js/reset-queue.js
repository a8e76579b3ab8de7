// What was pressed on the reset list and is not yet answered, kept in the phone.
// Shared by the page and the worker: it is sent in order, by one of them at a time,
// and leaves the phone only when the answer has come.
"use strict";

self.ResetQueue = (() => {
  const MOST = 50;
  const GIVE_UP = 10;
  let opened;

  function open() {
    opened ??= new Promise((resolve, reject) => {
      const request = indexedDB.open("reset-list", 1);
      request.onupgradeneeded = () => {
        const db = request.result;
        db.createObjectStore("presses", { keyPath: "number", autoIncrement: true });
        db.createObjectStore("answers", { keyPath: "uid" });
        db.createObjectStore("facts");
      };
      request.onsuccess = () => resolve(request.result);
      request.onerror = () => reject(request.error);
    });
    return opened;
  }

  // Runs one request on one store; done only when it is written.
  async function on(store, mode, ask) {
    const db = await open();
    return new Promise((resolve, reject) => {
      const transaction = db.transaction(store, mode);
      const request = ask(transaction.objectStore(store));
      transaction.oncomplete = () => resolve(request.result);
      transaction.onerror = transaction.onabort = () => reject(transaction.error);
    });
  }

  const waiting = () => on("presses", "readonly", (store) => store.getAll());
  const answers = () => on("answers", "readonly", (store) => store.getAll());
  const read = (uid) => on("answers", "readwrite", (store) => store.delete(uid));
  const fact = (key) => on("facts", "readonly", (store) => store.get(key));
  const know = (key, value) => on("facts", "readwrite", (store) => store.put(value, key));

  // A count that never repeats, also where the page is served without encryption.
  function uuid() {
    if (crypto.randomUUID) return crypto.randomUUID();
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 0x0f) | 0x40;
    bytes[8] = (bytes[8] & 0x3f) | 0x80;
    const hex = [...bytes].map((one) => one.toString(16).padStart(2, "0")).join("");
    return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
  }

  async function phone() {
    const known = await fact("phone");
    if (known) return known;
    const made = uuid();
    await know("phone", made);
    return made;
  }

  // `life` and `ticks` say how long ago it was even if the clock is set meanwhile.
  const life = uuid();

  async function add(press) {
    const moment = { at: Date.now(), life, ticks: Math.round(performance.now()) };
    const one = { ...press, ...moment, uid: uuid(), phone: await phone() };
    one.number = await on("presses", "readwrite", (store) => store.add(one));
    return one;
  }

  function asSent({ life: pressedIn, ticks, day, ...one }) {
    const age = pressedIn === life ? Math.round(performance.now()) - ticks : null;
    return { ...one, age };
  }

  async function ask(url, options = {}) {
    const stop = new AbortController();
    const timer = setTimeout(() => stop.abort(), 20000);
    try {
      return await fetch(url, {
        credentials: "same-origin",
        cache: "no-store",
        signal: stop.signal,
        ...options,
      });
    } finally {
      clearTimeout(timer);
    }
  }

  // What is new on a day's list, told of the plan in the hand.
  async function news(day, plan) {
    const response = await ask(`/api/days/${day}/resets/?plan=${plan}`);
    if (response.status === 403) throw new SignedOut();
    if (!response.ok) throw new Error(`news ${response.status}`);
    const told = await response.json();
    await know("token", told.token);
    await know("ahead", told.now - Date.now());
    return told;
  }

  class SignedOut extends Error {}

  // As many as go together; a photo is heavy and goes alone with what came before.
  function batch(presses, alone) {
    if (alone || presses[0]?.tries) return presses.slice(0, 1);
    const photo = presses.findIndex((one) => one.photo);
    return presses.slice(0, Math.min(MOST, photo < 0 ? MOST : photo + 1));
  }

  async function post(presses) {
    return ask("/api/presses/", {
      method: "POST",
      headers: {
        "Content-Type": "application/json",
        "X-CSRFToken": (await fact("token")) ?? "",
      },
      body: JSON.stringify({ sent_at: Date.now(), presses: presses.map(asSent) }),
    });
  }

  async function settle(presses, told) {
    let settled = 0;
    for (const answer of told.answers) {
      const press = presses.find((one) => one.uid === answer.uid);
      if (!press) continue;
      // First the answer is kept, then the press let go: cut between, it is asked again.
      if (answer.says) {
        const kept = { ...answer, at: press.at, day: press.day };
        await on("answers", "readwrite", (store) => store.put(kept));
      }
      await on("presses", "readwrite", (store) => store.delete(press.number));
      settled += 1;
    }
    await know("ahead", told.now - Date.now());
    return settled;
  }

  // What fails on the school's machine is counted, and sent again with its count: after
  // some tries it is kept there as a note. Where not even that goes, it is said here,
  // so that what was pressed after it is not held up for ever.
  async function failed(press) {
    const tries = (press.tries ?? 0) + 1;
    if (tries < GIVE_UP) {
      await on("presses", "readwrite", (store) => store.put({ ...press, tries }));
      return;
    }
    const { uid, at, day } = press;
    const did = [press.does, press.what, press.says].filter(Boolean).join(": ");
    const says = "The school's machine can't take this. Tell the manager.";
    await on("answers", "readwrite", (store) => store.put({ uid, at, day, did, says }));
    await on("presses", "readwrite", (store) => store.delete(press.number));
  }

  // Only these are of what was sent; others are of a machine that is down.
  const REFUSED = [400, 413, 500];

  async function sendAll() {
    let alone = false;
    for (;;) {
      const presses = batch(await waiting(), alone);
      if (!presses.length) return;
      let response = await post(presses);
      if (response.status === 403) {
        await news(presses[0].day, "");
        response = await post(presses);
        if (response.status === 403) throw new SignedOut();
      }
      if (REFUSED.includes(response.status)) {
        await news(presses[0].day, "");
        if (presses.length === 1) await failed(presses[0]);
        if (alone || presses.length === 1) throw new Error(`presses ${response.status}`);
        alone = true;
        continue;
      }
      if (!response.ok) throw new Error(`presses ${response.status}`);
      const told = await response.json();
      const settled = await settle(presses, told);
      const left = presses.find((one) => !told.answers.some(({ uid }) => uid === one.uid));
      if (left) await failed(left);
      if (!settled) throw new Error("no answer");
    }
  }

  // One sender at a time, of all pages and the worker.
  const send = () =>
    navigator.locks ? navigator.locks.request("reset-send", sendAll) : sendAll();

  return { add, answers, fact, know, news, read, send, SignedOut, waiting };
})();
