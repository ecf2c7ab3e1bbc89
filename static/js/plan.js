// The channel plan: the arrows go from pilot to pilot, and a swap of the page keeps focus and folds.
(() => {
  const isTyping = (target) => target.closest("input:not([type=checkbox]), select, textarea");

  function walk(step) {
    const links = [...document.querySelectorAll(".slot-link")];
    const next = links[links.indexOf(document.activeElement) + step];
    if (!links.includes(document.activeElement) || !next) return false;
    next.focus();
    return true;
  }

  // A swap takes the focused element away: go back to the pilot whose editor closed, or to the next callsigns.
  let goTo = null;
  document.addEventListener("htmx:before:swap", () => {
    const open = document.querySelector('.slot-link[aria-expanded="true"]');
    const isPuttingIn = document.activeElement.closest(".plan-put-in");
    goTo = isPuttingIn ? ".plan-put-in input[name=callsigns]" : open && `#${CSS.escape(open.id)}`;
  });
  document.addEventListener("htmx:after:swap", () => {
    if (goTo && document.activeElement === document.body) document.querySelector(goTo)?.focus({ preventScroll: true });
  });

  // What was unfolded stays so: a press elsewhere on the page is no reason to fold it.
  let unfolded = [];
  document.addEventListener("htmx:before:swap", () => {
    unfolded = [...document.querySelectorAll("#main details[id][open]")].map((fold) => fold.id);
  });
  document.addEventListener("htmx:after:swap", () => {
    for (const id of unfolded) document.getElementById(id)?.setAttribute("open", "");
  });

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (isTyping(event.target)) return;
    const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (step && walk(step)) event.preventDefault();
  });
})();
