// A spectrum is drawn when its fold is opened, and once more where a swap of the page brought the fold without it.
(() => {
  function draw(fold) {
    const place = fold.open && fold.querySelector(":scope > div:not(.spectrum)");
    if (place) htmx.ajax("GET", fold.dataset.draw, { target: `#${place.id}`, swap: "outerMorph" });
  }

  document.addEventListener("toggle", (event) => event.target.matches(".plan-spectrum") && draw(event.target), true);
  document.addEventListener("htmx:after:swap", () => document.querySelectorAll(".plan-spectrum[open]").forEach(draw));
})();

// Masts of the spectrum: the arrows step a pilot through the own channels, Enter keeps, Escape leaves. The page's own
// links and buttons do the work, so that touch and keyboard do the same; the focus stays on the mast.
(() => {
  const STEPS = { ArrowLeft: "lower", ArrowRight: "higher" };
  let goBackTo = null;

  function press(mast, key) {
    const place = mast.closest(".spectrum");
    const wanted = key in STEPS
      ? place.querySelector(`[data-step="${mast.dataset.pilot} ${STEPS[key]}"]`)
      : place.querySelector({ Enter: "[data-keep]", Escape: "[data-leave]" }[key]);
    if (!wanted) return key !== "Escape";
    goBackTo = mast.id;
    wanted.click();
    return true;
  }

  // Before the page's other keys, of which Escape and Enter would otherwise reach something else.
  document.addEventListener("keydown", (event) => {
    const mast = event.target.closest?.(".mast");
    if (!mast || event.ctrlKey || event.metaKey || event.altKey) return;
    if (!(event.key in STEPS) && event.key !== "Enter" && event.key !== "Escape") return;
    if (!press(mast, event.key)) return;
    event.preventDefault();
    event.stopPropagation();
  }, true);

  document.addEventListener("htmx:before:swap", () => {
    const held = document.activeElement;
    if (held?.closest(".spectrum") && held.id) goBackTo = held.id;
  });
  document.addEventListener("htmx:after:swap", () => {
    const held = goBackTo && document.getElementById(goBackTo);
    if (!held || document.activeElement === held) return;
    held.focus({ preventScroll: true });
  });
})();
