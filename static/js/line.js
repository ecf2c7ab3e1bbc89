// The flight line: up and down go from pilot to pilot. Forms repeat what is shown now, and the hours of the day move on.
(() => {
  const isTyping = (node) => node.closest("input:not([type=checkbox]), select, textarea");
  const TICK_MS = 15000;

  function walk(step) {
    const firsts = [...document.querySelectorAll("#called tbody tr")].map((row) => row.querySelector("button")).filter(Boolean);
    const row = document.activeElement.closest("#called tbody tr");
    const at = row ? firsts.findIndex((button) => row.contains(button)) : step > 0 ? -1 : firsts.length;
    firsts[at + step]?.focus();
    return Boolean(firsts[at + step]);
  }

  document.getElementById("call-other")?.addEventListener("submit", (event) => {
    event.target.elements.seen.value = document.getElementById("line-bar").dataset.seen;
  });

  async function renew(id) {
    const place = document.getElementById(id);
    if (!place || place.contains(document.activeElement)) return;
    try {
      const answer = await fetch(place.dataset.url, { cache: "no-store" });
      if (answer.status === 200 && !answer.redirected) document.getElementById(id).innerHTML = await answer.text();
    } catch { /* no answer: the hour beside it says how old it is */ }
  }
  function tick() {
    if (!document.hidden) for (const id of ["day-clock", "day-timeline"]) renew(id);
  }
  setInterval(tick, TICK_MS);
  document.addEventListener("visibilitychange", tick);

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || isTyping(event.target)) return;
    const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (step && walk(step)) event.preventDefault();
  });
})();
