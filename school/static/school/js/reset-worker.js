// Keeps the reset list open without signal, and sends what was pressed when it is
// back. What it keeps: the list, its pictures and the files they need.
"use strict";

const PAGES = "reset-pages";
const FILES = "reset-files";
const PATIENCE = 4000;

const LIST = /^\/resets\/(\d{4}-\d\d-\d\d)\/$/;
const PICTURE = /^\/changeovers\/\d+\/$/;
const TODAY = "/resets/today/";

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (request.method === "POST" && url.pathname === "/sign-out/") {
    // What is not sent yet stays; what was shown does not.
    event.waitUntil(caches.delete(PAGES));
  } else if (request.method !== "GET") {
    return;
  } else if (url.pathname.startsWith("/static/")) {
    event.respondWith(file(event));
  } else if (request.mode === "navigate" && isKept(url.pathname)) {
    event.respondWith(page(request, url.pathname));
  }
});

function isKept(path) {
  return path === TODAY || LIST.test(path) || PICTURE.test(path);
}

async function page(request, path) {
  try {
    const response = await soon(fetch(request));
    if (mayKeep(response) && path !== TODAY) await keepPage(path, response.clone());
    return response;
  } catch (cut) {
    const kept = await keptPage(path);
    return kept ?? missing();
  }
}

function missing() {
  const words = "No signal, and this page was not opened here before. Go back to the list.";
  return new Response(words, {
    status: 503,
    headers: { "Content-Type": "text/plain; charset=utf-8" },
  });
}

function soon(answer) {
  const late = new Promise((_, reject) => {
    setTimeout(() => reject(new Error("too slow")), PATIENCE);
  });
  return Promise.race([answer, late]);
}

function mayKeep(response) {
  return response.ok && response.type === "basic" && !response.redirected;
}

async function keepPage(path, response) {
  const cache = await caches.open(PAGES);
  await cache.put(path, response);
  const list = LIST.exec(path);
  if (!list) return;
  for (const key of await cache.keys()) {
    const other = LIST.exec(new URL(key.url).pathname);
    if (other && other[1] < list[1]) await cache.delete(key);
  }
}

async function keptPage(path) {
  const cache = await caches.open(PAGES);
  const kept = await cache.match(path);
  if (kept || PICTURE.test(path)) return kept;
  // Without signal the newest list is better than none; it says which day it is of.
  const lists = (await cache.keys()).filter((key) => LIST.test(new URL(key.url).pathname));
  lists.sort((a, b) => (a.url < b.url ? 1 : -1));
  return lists.length ? cache.match(lists[0]) : undefined;
}

// A file whose name says its content never changes; another may.
const FIXED = /\.[0-9a-f]{12}\.\w+$/;

async function file(event) {
  const cache = await caches.open(FILES);
  const kept = await cache.match(event.request);
  if (kept && FIXED.test(new URL(event.request.url).pathname)) return kept;
  try {
    const response = await soon(fetch(event.request));
    if (mayKeep(response)) await cache.put(event.request, response.clone());
    return response;
  } catch (cut) {
    if (kept) return kept;
    throw cut;
  }
}

// The page says what it needs: it was loaded before this worker was there.
self.addEventListener("message", (event) => {
  event.waitUntil(keepAll(event.data).then((kept) => event.source.postMessage({ kept })));
});

async function keepAll({ list, pictures, files }) {
  const kept = await caches.open(FILES);
  for (const url of files) {
    if (!(await kept.match(url))) await kept.add(url).catch(() => undefined);
  }
  const pages = await caches.open(PAGES);
  for (const path of [list, ...pictures]) {
    if (await pages.match(path)) continue;
    const response = await fetch(path).catch(() => undefined);
    if (response && mayKeep(response)) await keepPage(path, response);
  }
  for (const key of await pages.keys()) {
    const path = new URL(key.url).pathname;
    if (PICTURE.test(path) && !pictures.includes(path)) await pages.delete(key);
  }
  return Boolean(await pages.match(list));
}

self.addEventListener("sync", (event) => {
  if (event.tag === "reset-presses") event.waitUntil(self.ResetQueue.send());
});
