// Keeps #live the same as the server's latest published state, or says since when it may not be.
// <main data-stream data-state-url data-topic data-order [data-heartbeat-ms] [data-poll-ms]>; body[data-state] tells the styles.
// Ages are measured on this device's own clock. A message with a lower order than the shown one is late: ignored.
(() => {
  const page = document.querySelector("[data-stream]");
  const target = document.getElementById("live");
  if (!page || !target) return;

  const heartbeatMs = Number(page.dataset.heartbeatMs || 2000);
  const pollMs = Number(page.dataset.pollMs || 5000), retryStreamMs = 6 * pollMs;
  const storeKey = `bandstand ${page.dataset.topic}`;
  let shown = Number(page.dataset.order || -1);  // order of the newest state that the server gave this page
  let fromStore = false;                         // what is painted came out of localStorage, not from the server
  let lastMs = Date.now();                       // last sign of life
  let source = null, openedMs = 0, failures = 0, polledMs = 0, polling = false;

  const texts = () => new Map([...target.querySelectorAll("[data-key]")].map((node) => [node.dataset.key, node.textContent]));

  async function paint(html) {
    const before = texts();
    await htmx.swap({ target, text: html, swap: "innerMorph" });
    for (const node of target.querySelectorAll("[data-key]")) {
      const was = before.get(node.dataset.key);
      node.toggleAttribute("data-changed", was !== undefined && was !== node.textContent);
    }
  }

  function show(state) {
    if (state.order > shown || (fromStore && state.order === shown)) {
      shown = state.order;
      fromStore = false;
      paint(state.html);
      try { localStorage.setItem(storeKey, JSON.stringify(state)); } catch { /* storage full or closed: the page still works */ }
    }
    heard();
  }

  function heard() {
    lastMs = Date.now();
    tick();
  }

  function heardStream() {
    failures = 0;
    polling = false;
    heard();
  }

  function open() {
    close();
    openedMs = Date.now();
    failures += 1;
    source = new EventSource(page.dataset.stream);
    source.addEventListener("state", (event) => {
      show(JSON.parse(event.data));
      heardStream();
    });
    source.addEventListener("hb", (event) => {
      heardStream();
      if (JSON.parse(event.data).order > shown) poll();  // a state message was dropped on the way
    });
  }

  function close() {
    if (source) source.close();
    source = null;
  }

  async function poll() {
    if (Date.now() - polledMs < heartbeatMs) return;
    polledMs = Date.now();
    try {
      const answer = await fetch(page.dataset.stateUrl, { cache: "no-store", signal: AbortSignal.timeout(pollMs) });
      if (answer.ok) show(await answer.json());
    } catch { /* no answer: the age on the page goes on growing */ }
  }

  function tick() {
    if (document.hidden) return;
    const now = Date.now(), age = Math.abs(now - lastMs);
    write(fromStore || age > 2 * heartbeatMs + (polling ? pollMs : 0), age);
    if (polling && now - polledMs > pollMs) poll();
    if ((polling || age > 3 * heartbeatMs) && now - openedMs > (polling ? retryStreamMs : 3 * heartbeatMs)) {
      polling = failures >= 2;
      open();
      poll();
    }
  }

  function write(stale, age) {
    document.body.dataset.state = stale ? "stale" : "live";
    const clock = new Date(lastMs).toLocaleTimeString([], { hour12: false });
    const words = fromStore ? "Kept from before, not confirmed. Ask the director."
      : stale ? `May be out of date since ${clock}, ${Math.round(age / 1000)} s ago. Ask the director.`
      : polling ? `Updates every ${pollMs / 1000} s. Checked ${clock}` : `Live. Checked ${clock}`;
    const line = document.getElementById("live-line-text");
    if (line && line.textContent !== words) line.textContent = words;
    const aloud = document.getElementById("live-line-aloud"), said = stale ? "This page may be out of date." : "";
    if (aloud && aloud.textContent !== said) aloud.textContent = said;
  }

  function restore() {
    try {
      const kept = JSON.parse(localStorage.getItem(storeKey));
      fromStore = Boolean(kept && kept.order > shown);
      if (fromStore) paint(kept.html);
    } catch { /* nothing usable kept */ }
  }

  document.addEventListener("visibilitychange", () => {
    if (document.hidden) return close();
    tick();
    open();
  });
  window.addEventListener("pageshow", (event) => event.persisted && open());
  window.addEventListener("online", open);
  restore();
  open();
  tick();
  setInterval(tick, 250);
})();
