// Keys of the channel plan. A single key presses the element that names it in aria-keyshortcuts, or goes to it if
// it is a field; the arrows go from pilot to pilot. Nothing happens while somebody types.
(() => {
  const isTyping = (target) => target.closest("input:not([type=checkbox]), select, textarea");
  const named = (event) => (event.shiftKey && event.key.length === 1 ? `Shift+${event.key.toUpperCase()}` : event.key);

  function press(key) {
    const wanted = [...document.querySelectorAll("[aria-keyshortcuts]")].find((one) => one.getAttribute("aria-keyshortcuts") === key);
    if (!wanted || wanted.disabled) return false;
    if (wanted.matches("input")) wanted.focus();
    else wanted.click();
    return true;
  }

  function walk(step) {
    const links = [...document.querySelectorAll(".slot-link")];
    const next = links[links.indexOf(document.activeElement) + step];
    if (!links.includes(document.activeElement) || !next) return false;
    next.focus();
    return true;
  }

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (isTyping(event.target) && event.key !== "Escape") return;
    const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (step ? walk(step) : press(named(event))) event.preventDefault();
  });
})();
