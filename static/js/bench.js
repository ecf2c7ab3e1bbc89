// The bench by keyboard: whatever carries [data-press] is pressed by that key. After a reading the next can be typed.
(() => {
  const isTyping = (node) => node.closest("input:not([type=checkbox]), select, textarea");

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.repeat || isTyping(event.target)) return;
    const pressed = [...document.querySelectorAll("[data-press]")].find((one) => one.dataset.press === event.key.toLowerCase());
    if (!pressed) return;
    event.preventDefault();
    pressed.click();
  });

  let wasReading = false;
  document.addEventListener("submit", (event) => {
    wasReading = event.target.matches(".bench-readings") || event.submitter?.value === "no";
  });
  document.addEventListener("htmx:after:swap", () => {
    if (!wasReading) return;
    wasReading = false;
    document.querySelector(".bench-readings [aria-invalid], .bench-readings [data-goes-on]")?.focus();
  });
})();
