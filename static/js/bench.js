// The bench: after a reading the next can be typed.
(() => {
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
