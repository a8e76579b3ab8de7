// The reset list in the hand: takes presses at once, with or without signal, and shows
// what others did and what was changed without moving a line under the thumb.
"use strict";

(() => {
  const list = document.getElementById("reset-list");
  const queue = self.ResetQueue;
  const EVERY = 15000;
  const { day, plan, who } = list.dataset;
  const cards = [...list.querySelectorAll("article[data-changeover]")];
  const bar = document.getElementById("reset-bar");
  const part = (name) => bar.querySelector(`[data-part="${name}"]`);
  let signal = "";
  let heard = 0;
  let ahead = Number(list.dataset.now) - Date.now();

  // Work of the ground is a card too; its presses name it apart from changeovers.
  const keyOf = (press) => (press.work ? `work-${press.work}` : press.changeover);
  const cardOf = (pk) => cards.find((one) => one.dataset.changeover === String(pk));
  const moveOf = (pk) => document.getElementById(`move-${pk}`);
  const clock = (ms) =>
    new Date(ms).toLocaleTimeString("en-GB", {
      hour: "2-digit",
      minute: "2-digit",
      timeZone: list.dataset.zone,
    });

  // ---- what a row shows

  function showTick(pk, ticked) {
    const row = moveOf(pk);
    if (!row || row.classList.contains("ticked") === ticked) return;
    row.classList.toggle("ticked", ticked);
    row.querySelector(".box").textContent = ticked ? "✓" : "";
    row.querySelector("button").setAttribute("aria-pressed", String(ticked));
    row.querySelector("[name=ticked]").value = ticked ? "0" : "1";
  }

  function showStarted(card, at) {
    const button = card.querySelector("[data-press=start] button");
    card.dataset.started = at;
    if (!button) return;
    button.textContent = at ? `Started ${at}` : "Start";
    button.disabled = Boolean(at);
  }

  function showDone(card, at) {
    card.dataset.done = at;
    card.classList.toggle("is-done", Boolean(at));
    // What is done needs no buttons; they leave their room, so that nothing moves.
    card.querySelector(".work-buttons")?.classList.toggle("is-spent", Boolean(at));
  }

  function notSaid(card, lines) {
    if (!card) return [];
    const said = [...card.querySelectorAll(".trouble-said li")].map((one) => one.textContent);
    return lines.filter((one) => !said.includes(one));
  }

  function showNote(card, words) {
    if (!notSaid(card, [words]).length) return;
    const place = card.querySelector(".trouble-said");
    const line = document.createElement("li");
    line.textContent = words;
    place.querySelector("ul").append(line);
    place.hidden = false;
  }

  // Unfolds what is now and next, once each, and only below the screen: nothing that
  // is seen moves, and what was folded by hand stays so. Nothing folds by itself.
  function unfold(card) {
    const work = card.querySelector(".the-work");
    if (!work || work.open || card.dataset.unfolded || card.getBoundingClientRect().top < innerHeight) return;
    work.open = true;
    card.dataset.unfolded = "1";
  }

  // Which is now, next and later, by what is done; no card changes its place.
  function showStages() {
    const open = cards.filter((one) => !one.dataset.done && !one.dataset.over);
    for (const card of cards) {
      const place = open.indexOf(card);
      let words = ["Now", "Next"][place] ?? "Later";
      if (card.dataset.done) words = `Done ${card.dataset.done}`;
      if (card.dataset.over) words = "Nothing to do any more";
      if (card.dataset.changed) words += " · changed since you looked";
      card.querySelector(".stage").textContent = words;
      card.classList.toggle("is-now", place === 0);
      card.classList.toggle("is-over", Boolean(card.dataset.over));
    }
    open.slice(0, 2).forEach(unfold);
    const done = cards.filter((one) => one.dataset.done).length;
    document.getElementById("reset-count").textContent = `${done} of ${cards.length} done.`;
  }

  // ---- presses

  function apply(press) {
    const card = cardOf(keyOf(press));
    if (!card) return;
    const at = clock(press.at + ahead);
    if (press.does === "tick" || press.does === "untick") {
      showTick(press.move, press.does === "tick");
      if (press.does === "tick" && !card.dataset.started) showStarted(card, at);
    }
    if (press.does === "start" && !card.dataset.started) showStarted(card, at);
    if (press.does === "done" && !card.dataset.done) {
      card.querySelectorAll(".move").forEach((row) => showTick(row.dataset.move, true));
      showDone(card, at);
    }
    if (press.does === "trouble") {
      showNote(card, [press.what, press.says].filter(Boolean).join(": "));
    }
  }

  function warnInUse(card) {
    const now = Date.now() + ahead;
    const busy = JSON.parse(card.dataset.busy || "[]");
    const found = busy.find((one) => one.from <= now && now < one.to);
    if (found) say(`in-use-${card.dataset.changeover}`, "Started", found.says);
  }

  async function press(form) {
    const { press: does, changeover, move } = form.dataset;
    const fields = new FormData(form);
    const one = { day, who, does };
    if (changeover.startsWith("work-")) one.work = Number(changeover.slice(5));
    else one.changeover = Number(changeover);
    if (does === "tick") {
      const ticked = form.querySelector("[name=ticked]").value === "1";
      Object.assign(one, { does: ticked ? "tick" : "untick", move: Number(move) });
    }
    if (does === "start") warnInUse(cardOf(changeover));
    const extra = [];
    if (does === "trouble") {
      one.what = fields.get("what") ?? "";
      one.says = String(fields.get("says") ?? "").trim().replace(/\s+/g, " ");
      const photo = fields.get("photo");
      if (photo?.size) extra.push(photo);
    }
    let kept;
    try {
      kept = await queue.add(one);
    } catch {
      // The phone keeps nothing (a private window, say): send it as a form.
      form.dataset.plain = "1";
      form.requestSubmit();
      return;
    }
    apply(kept);
    for (const photo of extra) await addPhoto(one, photo);
    if (does === "trouble") {
      form.reset();
      form.closest(".trouble").open = false;
      form.closest(".trouble").querySelector("summary").focus();
    }
    showStages();
    await sendSoon();
  }

  async function addPhoto(trouble, photo) {
    const small = await self.smallPhoto(photo).catch(() => null);
    if (small) {
      await queue.add({ ...trouble, does: "photo", photo: small });
    } else {
      say("photo", "Photo", "This photo can't be read here. The words are kept without it.");
    }
  }

  list.addEventListener("submit", (event) => {
    const form = event.target.closest("form[data-press]");
    if (!form || form.dataset.plain) return;
    event.preventDefault();
    bar.dataset.waiting = Number(bar.dataset.waiting) + 1;
    press(form);
  });

  // ---- sending and hearing

  async function sendSoon() {
    await showSignal();
    const worker = await navigator.serviceWorker?.getRegistration();
    worker?.sync?.register("reset-presses").catch(() => undefined);
    await exchange();
  }

  let busy = null;
  let again = false;

  // One exchange at a time; a press during one is followed by another.
  function exchange() {
    again = true;
    busy ??= (async () => {
      while (again) {
        again = false;
        try {
          await queue.send();
          const told = await queue.news(day, plan);
          signal = "good";
          heard = told.now;
          showNews(told);
        } catch (error) {
          signal = error instanceof queue.SignedOut ? "out" : "cut";
        }
        await show();
      }
    })().finally(() => {
      busy = null;
    });
    return busy;
  }

  async function show() {
    ahead = (await queue.fact("ahead")) ?? ahead;
    // What is not sent yet stands above what was told.
    for (const one of await queue.waiting()) if (one.day === day) apply(one);
    showStages();
    await showSignal();
    await showAnswers();
  }

  function showNews(told) {
    for (const row of told.rows) {
      const card = cardOf(row.id);
      if (!card) continue;
      card.dataset.over = row.over;
      card.dataset.changed = row.changed.length ? "1" : "";
      for (const [pk, ticked] of Object.entries(row.moves)) showTick(pk, ticked);
      for (const line of card.querySelectorAll(".move")) {
        line.classList.toggle("is-gone", !(line.dataset.move in row.moves));
      }
      showStarted(card, row.started);
      showDone(card, row.done);
    }
    const changes = told.rows
      .filter((row) => (row.over && !cardOf(row.id)?.dataset.wasOver) || row.changed.length)
      .map((row) => `${row.name}: ${row.over || row.changed.join(" ")}`);
    // Notes of others are said below: in their card they would move the lines.
    const notes = told.rows.flatMap((row) =>
      notSaid(cardOf(row.id), row.note).map((words) => `${row.name}, trouble: ${words}`),
    );
    const fresh = told.rows.filter((row) => row.fresh && !cardOf(row.id)).map((row) => row.fresh);
    const words = [...changes, ...told.added, ...fresh, ...notes];
    part("changes").hidden = !words.length;
    part("changes-title").textContent =
      `Changed since you looked: ${words.length === 1 ? "one thing" : `${words.length} things`}`;
    fill(part("changes-list"), words);
  }

  function fill(place, words) {
    const now = [...place.children].map((one) => one.textContent);
    if (now.length === words.length && now.every((one, n) => one === words[n])) return;
    place.replaceChildren(
      ...words.map((text) => {
        const line = document.createElement("li");
        line.textContent = text;
        return line;
      }),
    );
  }

  async function showSignal() {
    const left = (await queue.waiting()).length;
    const presses = left === 1 ? "1 press is" : `${left} presses are`;
    let words = "All is sent.";
    if (left) words = `${presses} being sent.`;
    if (signal === "cut") {
      words = left ? `No signal. ${presses} kept here and sent when it is back.` : "No signal. Go on ticking: all is kept here.";
    }
    if (signal === "out") {
      const kept = left ? ` ${presses} kept here and sent then.` : "";
      words = `Your day here is over or you signed out: scan today's code or sign in.${kept}`;
    }
    if (part("signal").textContent !== words) part("signal").textContent = words;
    part("heard").textContent = heard ? `As of ${clock(heard)}.` : "";
    bar.dataset.signal = signal;
    bar.dataset.waiting = left;
  }

  // ---- what became of presses that were not simply taken

  const said = new Map();

  function say(uid, did, says) {
    said.set(uid, { uid, did, says });
    showAnswers();
  }

  async function showAnswers() {
    const kept = (await queue.answers().catch(() => [])).concat([...said.values()]);
    const seen = new Set();
    const fresh = kept.filter((one) => !seen.has(one.says) && seen.add(one.says));
    part("answers").hidden = !fresh.length;
    fill(
      part("answers-list"),
      fresh.map((one) => (one.did ? `${one.did}: ${one.says}` : one.says)),
    );
  }

  part("answers-read").addEventListener("click", async () => {
    for (const one of await queue.answers()) await queue.read(one.uid);
    said.clear();
    await showAnswers();
  });
  part("take-up").addEventListener("click", () => location.reload());

  // ---- without signal

  async function keepForLater() {
    if (!navigator.serviceWorker) return;
    await navigator.serviceWorker.register("/resets-worker.js", { scope: "/" });
    navigator.serviceWorker.addEventListener("message", ({ data }) => {
      if (data.kept) bar.dataset.kept = "1";
      part("kept").textContent = data.kept ? "This list opens without signal." : "";
    });
    const { active } = await navigator.serviceWorker.ready;
    const files = performance
      .getEntriesByType("resource")
      .map((one) => new URL(one.name).pathname)
      .filter((path) => path.startsWith("/static/"));
    const pictures = [...list.querySelectorAll("a[data-picture]")].map((one) => one.pathname);
    active.postMessage({ list: list.dataset.path, pictures, files: [...new Set(files)] });
    await navigator.storage?.persist?.();
  }

  bar.hidden = false;
  document.body.classList.add("has-reset-bar");
  addEventListener("online", exchange);
  document.addEventListener("visibilitychange", () => {
    if (!document.hidden) exchange();
  });
  setInterval(() => {
    if (!document.hidden) exchange();
  }, EVERY);
  keepForLater().catch(() => undefined);
  show().then(exchange).catch(() => {
    bar.hidden = true;
  });
})();
