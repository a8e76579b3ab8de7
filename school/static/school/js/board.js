// Lets a lesson on the board be moved and resized by pointer or keyboard. It only
// fills in the lesson's form: what comes of it is said by the server, before and after.
(() => {
  "use strict";
  const panel = document.getElementById("board-panel");
  const board = document.querySelector("svg.board[data-minute]");
  if (!panel || !board) return;

  const minute = Number(board.dataset.minute);
  const top = Number(board.dataset.top);
  const first = Number(board.dataset.firstMin);
  const snap = Number(board.dataset.snap);
  const lanes = [...board.querySelectorAll(".lane")];
  const small = window.matchMedia("(max-width: 60rem)");
  let tried = null; // what is tried: the lesson, and where it would be
  let dropped = false; // it was let go, and goes as soon as nothing speaks against it
  let timer = 0;

  const clock = (min) =>
    `${String(Math.floor(min / 60)).padStart(2, "0")}:${String(min % 60).padStart(2, "0")}`;
  const laneOf = (one) =>
    lanes.findIndex((l) => l.dataset.date === one.date && l.dataset.arena === one.arena);
  const placeOf = (node) => ({
    date: node.dataset.date,
    arena: node.dataset.arena,
    start: Number(node.dataset.start),
    minutes: Number(node.dataset.minutes),
  });
  const keyOf = (one) => [one.date, one.arena, one.start, one.minutes].join(" ");
  const form = () => document.getElementById("board-form");
  const moved = () => tried && keyOf(tried.at) !== keyOf(tried.was);

  function draw() {
    const { node, at, was } = tried;
    const lane = lanes[laneOf(at)];
    const from = lanes[laneOf(was)];
    const x = Number(lane.dataset.left) - Number(from.dataset.left);
    const y = (at.start - was.start) * minute;
    node.setAttribute("transform", `translate(${x} ${y})`);
    node.querySelector(".ride-box").setAttribute("height", Math.max(at.minutes * minute - 2, 8));
    const edge = node.querySelector(".edge");
    if (edge) edge.setAttribute("y", top + (was.start - first + at.minutes) * minute - 9);
    node.classList.toggle("tried", moved());
    const times = node.querySelector("text");
    times.textContent = edge ? `${clock(at.start)} to ${clock(at.start + at.minutes)}` : clock(at.start);
  }

  // Puts lesson and form back, so that no press does what is not seen any more; what
  // was said stays where it tells why.
  function leave(why = false) {
    if (!tried) return;
    window.clearTimeout(timer);
    tried.at = { ...tried.was };
    draw();
    dropped = false;
    if (!form()) return;
    form().reset();
    form().elements.key.value = "";
    if (!why) document.getElementById("foretold").replaceChildren();
  }

  async function choose(node) {
    if (tried && tried.node === node) return tried.ready;
    leave();
    const was = placeOf(node);
    const mine = { node, was, at: { ...was } };
    tried = mine;
    mine.ready = window.htmx.ajax("GET", node.getAttribute("href"), {
      target: "#board-panel",
      swap: "innerHTML",
    }).then(
      // Made ready at once: a form that comes late is asked before it settles.
      () => window.htmx.process(panel),
      () => {}, // said below, where no answer came
    );
    return mine.ready;
  }

  // Waits a moment, so that only where it rests is asked about.
  function ask() {
    window.clearTimeout(timer);
    const mine = tried;
    timer = window.setTimeout(async () => {
      await mine.ready;
      if (tried !== mine) return;
      if (!form()) {
        leave(); // it was cancelled meanwhile, or is over: the panel says so
        return;
      }
      const fields = form().elements;
      // What is dragged is the lesson as it is drawn, not as it may be by now.
      fields.version.value = mine.node.dataset.version;
      fields.date.value = mine.at.date;
      fields.start.value = clock(mine.at.start);
      fields.minutes.value = mine.at.minutes;
      fields.arena.value = mine.at.arena;
      fields.key.value = keyOf(mine.at);
      window.htmx.trigger(form(), "tried");
    }, 180);
  }

  function to(change) {
    if (!tried) return; // no answer came while it was held
    const at = { ...tried.at, ...change };
    const lane = lanes[laneOf(at)];
    if (!lane || at.minutes < 10 || at.minutes > 240) return;
    at.start = Math.min(Math.max(at.start, 0), 24 * 60 - at.minutes);
    if (keyOf(at) === keyOf(tried.at)) return;
    tried.at = at;
    draw();
    ask();
  }

  function verdict() {
    const said = document.querySelector("#foretold .foretold");
    if (!said || !tried || said.dataset.key !== keyOf(tried.at)) return "";
    return said.dataset.verdict;
  }

  // Goes where nothing speaks against it; a warning is left to a press of the button.
  function settle() {
    const now = verdict();
    if (!now || !moved()) return;
    if (now === "free") form().requestSubmit(document.getElementById("board-do"));
    else if (now === "no") leave(true);
    else (document.getElementById("board-overrule") || document.getElementById("board-do")).focus();
    dropped = false;
  }

  document.body.addEventListener("htmx:afterSwap", (event) => {
    if (event.detail.target.id === "foretold" && dropped) settle();
  });

  const ours = (event) => panel.contains(event.detail.target);

  // Signed out meanwhile: the page to sign in is none of the panel's.
  document.body.addEventListener("htmx:beforeSwap", (event) => {
    const { xhr, pathInfo } = event.detail;
    if (!ours(event) || !xhr.responseURL) return;
    const asked = new URL(pathInfo.requestPath, window.location.href).pathname;
    if (new URL(xhr.responseURL).pathname === asked) return;
    event.detail.shouldSwap = false;
    window.location.reload();
  });

  for (const name of ["htmx:sendError", "htmx:responseError", "htmx:timeout"]) {
    document.body.addEventListener(name, (event) => {
      if (!ours(event)) return;
      leave();
      const note = document.createElement("p");
      note.className = "note bad";
      note.setAttribute("role", "alert");
      note.textContent =
        "No answer came, so nothing is changed. Look whether you are connected, then try again.";
      (document.getElementById("foretold") || panel).replaceChildren(note);
      tried = null;
    });
  }

  function inBoard(event) {
    const point = new DOMPoint(event.clientX, event.clientY);
    return point.matrixTransform(board.getScreenCTM().inverse());
  }

  let drag = null;
  board.addEventListener("pointerdown", (event) => {
    const node = event.target.closest(".lesson");
    // A finger scrolls; a tap opens the form.
    if (!node || event.button !== 0 || event.pointerType === "touch" || small.matches) return;
    drag = {
      node,
      from: inBoard(event),
      pointer: event.pointerId,
      resize: event.target.classList.contains("edge"),
      begun: false,
    };
  });
  board.addEventListener("pointermove", (event) => {
    if (!drag || event.pointerId !== drag.pointer) return;
    const now = inBoard(event);
    const dy = now.y - drag.from.y;
    if (!drag.begun) {
      if (Math.hypot(now.x - drag.from.x, dy) < 5) return;
      drag.begun = true;
      board.setPointerCapture(drag.pointer);
      choose(drag.node);
      drag.at = { ...tried.at };
      drag.lane = laneOf(tried.at);
    }
    const steps = Math.round(dy / minute / snap) * snap;
    if (drag.resize) {
      to({ minutes: drag.at.minutes + steps });
      return;
    }
    const lane = lanes.findIndex((l) => {
      const left = Number(l.dataset.left);
      return now.x >= left && now.x < left + Number(l.dataset.wide);
    });
    const there = lanes[lane < 0 ? drag.lane : lane];
    to({ date: there.dataset.date, arena: there.dataset.arena, start: drag.at.start + steps });
  });
  const end = (event) => {
    if (!drag || event.pointerId !== drag.pointer) return;
    const begun = drag.begun;
    drag = null;
    if (!begun) return;
    if (event.type === "pointercancel") {
      leave();
      return;
    }
    dropped = true;
    settle();
  };
  board.addEventListener("pointerup", end);
  board.addEventListener("pointercancel", end);
  board.addEventListener("dragstart", (event) => event.preventDefault());

  let ended = false;
  board.addEventListener("pointerup", () => { ended = Boolean(tried && moved()); }, true);
  board.addEventListener("click", (event) => {
    const node = event.target.closest(".lesson");
    if (node) {
      if (small.matches) return; // the form's own page
      event.preventDefault();
      if (!ended) choose(node);
      ended = false;
      return;
    }
    const lane = event.target.closest(".lane");
    if (!lane || ended) {
      ended = false;
      return;
    }
    const min = first + Math.floor((inBoard(event).y - top) / minute / 15) * 15;
    const at = new URLSearchParams({
      date: lane.dataset.date,
      start: clock(min),
      arena: lane.dataset.arena,
      board: "1",
    });
    window.location.assign(`${panel.dataset.book}?${at}`);
  });

  const STEPS = { ArrowUp: -1, ArrowDown: 1 };
  const SIDES = { ArrowLeft: -1, ArrowRight: 1 };
  board.addEventListener("keydown", (event) => {
    const node = event.target.closest(".lesson");
    if (!node || event.ctrlKey || event.altKey || event.metaKey) return;
    if (event.key in STEPS || event.key in SIDES) {
      event.preventDefault();
      choose(node);
      const step = (STEPS[event.key] || 0) * snap;
      if (event.key in SIDES) {
        const lane = lanes[laneOf(tried.at) + SIDES[event.key]];
        if (lane) to({ date: lane.dataset.date, arena: lane.dataset.arena });
      } else if (event.shiftKey) to({ minutes: tried.at.minutes + step });
      else to({ start: tried.at.start + step });
    } else if (event.key === "Escape") {
      leave();
    } else if (event.key === "Enter" && tried && tried.node === node && moved()) {
      event.preventDefault();
      dropped = true;
      settle();
    }
  });

  // Back from a change: where it was done is where one goes on.
  if (window.location.hash.startsWith("#lesson-")) {
    const node = document.getElementById(window.location.hash.slice(1));
    if (node) node.focus({ preventScroll: false });
  }
})();
