// Keeps #live the same as the server's latest published state, or says since when it may not be.
// <main data-stream data-state-url data-topic data-order [data-heartbeat-ms] [data-poll-ms]>; body[data-state] tells the styles.
// Ages are measured on this device's own clock. A message with a lower order than the shown one is late: ignored.
(() => {
  const page = document.querySelector("[data-stream]");
  const target = document.getElementById("live");
  if (!page || !target) return;

  const heartbeatMs = Number(page.dataset.heartbeatMs || 2000);
  const pollMs = Number(page.dataset.pollMs || 2.5 * heartbeatMs), retryStreamMs = 6 * pollMs;
  const storeKey = `bandstand ${page.dataset.topic}`;
  let shown = Number(page.dataset.order || -1);  // order of the newest state that the server gave this page
  let painted = null;                            // the fragment on the page, once it came by message
  let fromStore = false;                         // it came out of localStorage or a cache: the server has not confirmed it
  let lastMs = Date.now();                       // last sign of life; the page itself until the first one
  let confirmed = false;                         // there was one: a page out of the browser's cache has had none
  let source = null, openedMs = 0, failures = 0, polledMs = 0, polling = false, gone = false;

  const texts = () => new Map([...target.querySelectorAll("[data-key]")].map((node) => [node.dataset.key, node.textContent]));

  function paint(html) {
    if (html === painted) return;
    const before = texts();
    morph(target, html);
    painted = html;
    if (!before.size) return;
    for (const node of target.querySelectorAll("[data-key]")) {
      node.toggleAttribute("data-changed", before.get(node.dataset.key) !== node.textContent);
    }
  }

  function show(state) {
    if (state.order >= shown) {
      paint(state.html);  // if it throws there is no sign of life: the page turns stale by itself
      shown = state.order;
      fromStore = false;
      keep({ ...state, atMs: Date.now() });
    }
    heard();
  }

  function keep(state) {
    try { localStorage.setItem(storeKey, JSON.stringify(state)); } catch { /* storage full or closed: the page still works */ }
  }

  function restore() {
    fromStore = isFromCache();
    try {
      const kept = JSON.parse(localStorage.getItem(storeKey));
      if (!kept || kept.order < shown || (kept.order === shown && !fromStore)) return;
      fromStore = true;
      lastMs = kept.atMs;
      if (kept.order > shown) paint(kept.html);
    } catch { /* nothing usable kept */ }
  }

  // Gone back to, or opened again by a phone that had put it away: the server was not asked for this page.
  function isFromCache() {
    const [arrival] = performance.getEntriesByType("navigation");
    return Boolean(arrival) && (arrival.type === "back_forward" || arrival.transferSize === 0);
  }

  function heard() {
    confirmed = true;
    lastMs = Date.now();
    tick();
  }

  function heardStream() {
    failures = 0;
    polling = false;
  }

  function open() {
    close();
    if (document.hidden || gone) return;  // a browser keeps few connections to one server: leave them to pages in sight
    openedMs = Date.now();
    failures += 1;
    source = new EventSource(page.dataset.stream);
    source.addEventListener("state", (event) => {
      heardStream();
      show(JSON.parse(event.data));
    });
    source.addEventListener("hb", (event) => {
      heardStream();
      if (JSON.parse(event.data).order > shown) poll();  // a state message was dropped on the way
      else if (!fromStore) heard();
    });
    source.addEventListener("error", () => {
      if (source && source.readyState === EventSource.CLOSED) poll();  // refused: it will not try again by itself
    });
  }

  function close() {
    if (source) source.close();
    source = null;
  }

  async function poll() {
    if (gone || Date.now() - polledMs < heartbeatMs) return;
    polledMs = Date.now();
    const patience = new AbortController(), timer = setTimeout(() => patience.abort(), pollMs);
    try {
      const answer = await fetch(page.dataset.stateUrl, { cache: "no-cache", signal: patience.signal });
      if (answer.ok) show(await answer.json());
      else if (answer.status === 410 && (await answer.json()).gone) leave();
    } catch { /* no answer: the age on the page goes on growing */ }
    clearTimeout(timer);
  }

  function leave() {  // the link was replaced: the server has a page that says so
    gone = true;
    close();
    try { localStorage.removeItem(storeKey); } catch { /* nothing was kept */ }
    location.reload();
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
    const time = new Date(lastMs).toLocaleTimeString(document.documentElement.lang, { hour12: false });
    document.body.dataset.state = stale ? "stale" : confirmed ? "live" : "still";
    say("#live-line-text", stale ? filled("stale", { time, age: inWords(age) })
      : !confirmed ? filled("asking")
      : polling ? filled("polling", { period: inWords(pollMs), time }) : filled("live", { time }));
    say("#live-line-aloud", stale ? filled("aloud") : "");
    say("[data-stale-since]", time);
  }

  function say(where, words) {
    const node = document.querySelector(where);
    if (node && node.textContent !== words) node.textContent = words;
  }

  // The sentences stand on #live-line, in the language of the page.
  function filled(sentence, values = {}) {
    const words = document.getElementById("live-line")?.dataset[sentence] ?? "";
    return words.replace(/\{(\w+)\}/g, (place, name) => values[name] ?? place);
  }

  const inWords = (ms) => ms < 120_000 ? filled("seconds", { number: Math.round(ms / 1000) })
    : filled("minutes", { number: Math.round(ms / 60_000) });

  document.addEventListener("visibilitychange", () => {
    if (document.hidden) return close();
    tick();
    open();
  });
  // A browser has six connections to a server, for all its windows: what is urgent gets that of this page.
  document.addEventListener("bandstand:urgent", () => {
    close();
    setTimeout(open, 2 * heartbeatMs);
  });
  window.addEventListener("pagehide", close);
  window.addEventListener("pageshow", (event) => event.persisted && open());
  window.addEventListener("online", open);
  restore();
  open();
  tick();
  setInterval(tick, 250);
})();
