// The desk: up and down go through the roster's rows. Half a line is still there after a look at another page.
// [data-insert] puts its words into the line; [data-clear] empties the element it names.
(() => {
  const isTyping = (node) => node.closest("input, select, textarea");

  function focusRow(step) {
    const links = [...document.querySelectorAll("#roster tbody th a")];
    const row = document.activeElement.closest("#roster tbody tr");
    const at = row ? links.findIndex((link) => row.contains(link)) : step > 0 ? -1 : links.length;
    links[at + step]?.focus();
    return at + step >= 0 && at + step < links.length;
  }

  function goTo(id) {
    const field = document.getElementById(id);
    field?.focus();
    field?.select();
    return Boolean(field);
  }

  const HALF_A_LINE = `bandstand-half-a-line ${location.pathname}`;

  function keepLine() {
    const line = document.getElementById("line");
    if (line) sessionStorage.setItem(HALF_A_LINE, line.value);
  }

  function bringLineBack() {
    const line = document.getElementById("line"), half = sessionStorage.getItem(HALF_A_LINE);
    if (!line || line.value || !half) return;
    line.value = half;
    line.dispatchEvent(new Event("input", { bubbles: true }));  // and what it would mean
  }

  document.addEventListener("input", (event) => { if (event.target.id === "line") keepLine(); });
  document.addEventListener("htmx:after:swap", keepLine);  // taken: the line is empty again
  window.addEventListener("load", bringLineBack);  // htmx is there by then

  // Whoever goes on in fields types on at the end of what the line said.
  function goOnAtTheEnd() {
    const field = document.activeElement.closest("#desk-fields input[type=text]");
    field?.setSelectionRange(field.value.length, field.value.length);
  }

  document.addEventListener("htmx:after:swap", goOnAtTheEnd);
  window.addEventListener("load", goOnAtTheEnd);

  document.addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || !event.target.closest("#desk-fields")) return;
    if (goTo("line")) event.preventDefault();
  });

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || isTyping(event.target)) return;
    const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (step && focusRow(step)) event.preventDefault();
  });

  // On a phone the code stands far from the button that asked for it.
  document.addEventListener("htmx:after:swap", () => {
    document.querySelector("#phone-link > *")?.scrollIntoView({ block: "nearest" });
  });

  document.addEventListener("click", (event) => {
    const insert = event.target.closest("[data-insert]"), clear = event.target.closest("[data-clear]");
    if (insert) {
      const line = document.getElementById("line");
      line.value = `${line.value.trimEnd()} ${insert.dataset.insert}`.trimStart();
      line.focus();
      line.dispatchEvent(new Event("input", { bubbles: true }));
    }
    if (clear) {
      document.getElementById(clear.dataset.clear).replaceChildren();
      goTo("line");
    }
  });
})();
