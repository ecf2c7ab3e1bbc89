// Keys of the director's screens, all in one place. Whatever names a key in aria-keyshortcuts is pressed by it, or gone
// to if it is a field or a fold, unless somebody types. "?" unfolds #shortcuts, which lists what is on the page now.
(() => {
  const panel = document.getElementById("shortcuts");
  const isTyping = (node) => node.closest("input:not([type=checkbox], [type=radio]), select, textarea");
  const isThere = (node) => (node.closest("details:not([open])") ?? node).checkVisibility() && !node.disabled;
  const keysOf = (node) => node.getAttribute("aria-keyshortcuts").split(" ");
  const named = () => [...document.querySelectorAll("[aria-keyshortcuts]")].filter(isThere);

  // As aria-keyshortcuts has it: "n", "Shift+P", "/", "Escape".
  function keyOf(event) {
    if (!/^[a-z]$/i.test(event.key)) return event.key;
    return event.shiftKey ? `Shift+${event.key.toUpperCase()}` : event.key.toLowerCase();
  }

  function press(node) {
    if (!node.matches("input, select, textarea, summary")) return node.click();
    const folded = node.closest("details");
    if (folded && folded !== panel) folded.open = true;
    node.focus();
    node.select?.();
  }

  function wordsOf(node) {
    const words = document.createElement("span");
    words.innerHTML = (node.labels?.[0] ?? node).innerHTML;
    for (const aside of words.querySelectorAll("kbd, small, .quiet")) aside.remove();
    return node.getAttribute("aria-label") ?? words.textContent.trim();
  }

  function fill() {
    const entries = [...named().flatMap((node) => keysOf(node).map((key) => [key, wordsOf(node)])),
      ...[...document.querySelectorAll("[data-arrows]")].map((node) => ["↑ ↓", node.dataset.arrows])];
    panel.querySelector("ul").replaceChildren(...entries.map(([key, words]) => {
      const line = document.createElement("li"), sign = document.createElement("kbd");
      sign.textContent = key === "Escape" ? "Esc" : key.length === 1 ? key.toUpperCase() : key.replace("+", " ");
      line.append(sign, ` ${words}`);
      return line;
    }));
  }

  function unfold(isOpen) {
    panel.open = isOpen;
    panel.querySelector("summary").focus();
  }

  panel.hidden = false;
  panel.addEventListener("toggle", () => panel.open && fill());

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.repeat || event.defaultPrevented) return;
    const key = keyOf(event);
    if (isTyping(event.target) && key !== "Escape") return;
    if (key === "?") unfold(!panel.open);
    else if (key === "Escape" && panel.open) unfold(false);
    else {
      const wanted = key !== "F9" && named().find((node) => keysOf(node).includes(key));  // F9: everybody_land.js, also while typing
      if (!wanted) return;
      press(wanted);
    }
    event.preventDefault();
  });
})();
