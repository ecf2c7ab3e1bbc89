// The desk of open flying: up and down go from button to button of the places and the queue.
(() => {
  const isTyping = (node) => node.closest("input:not([type=checkbox]), select, textarea");

  function walk(step) {
    const firsts = [...document.querySelectorAll("#places tbody tr, .turn-queue li")].map((row) => row.querySelector("button")).filter(Boolean);
    const row = document.activeElement.closest("#places tbody tr, .turn-queue li");
    const at = row ? firsts.findIndex((button) => row.contains(button)) : step > 0 ? -1 : firsts.length;
    firsts[at + step]?.focus();
    return Boolean(firsts[at + step]);
  }

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || isTyping(event.target)) return;
    const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (step && walk(step)) event.preventDefault();
  });
})();
