// EVERYBODY LAND on every page of the director's: the button and F9 act at once, also while typing, and the page with
// whatever was typed stays. Another director's press shows within seconds; Lift stands beside it.
(() => {
  const shown = document.getElementById("everybody-land"), press = document.getElementById("everybody-land-now");
  if (!shown || !press) return;
  const url = `${shown.dataset.url}/everybody-land`, LOOK_EVERY_MS = 2500, AGAIN_MS = 1000, SAYING_WHY = "bandstand-saying-why";
  const isAtTheLine = Boolean(document.getElementById("line-bar"));  // where the heat is seen down: nothing may cover it
  const reason = document.getElementById("everybody-land-reason"), why = document.getElementById("everybody-land-why");
  const lifting = document.getElementById("everybody-land-since");
  let isSending = false, presses = 0;

  function show({ on, reason: words, since }) {
    if (lifting && since !== undefined) {  // an earlier one that this page showed does not lift a later one
      lifting.value = since;
      lifting.disabled = false;
    }
    if (shown.hidden === on) {
      shown.hidden = !on;
      shown.classList.toggle("everybody-land--strip", isAtTheLine);
    }
    shown.dataset.alarm = on ? "on" : "off";
    if (!on) why.blur();
    reason.textContent = words;
  }

  // At once, before any answer: what is typed next is why, on every page, and never a key that does something.
  function begin() {
    if (shown.hidden) show({ on: true, reason: "" });
    why.focus();
  }

  async function look() {
    if (document.hidden || isSending) return;
    const before = presses;
    try {
      const answer = await fetch(url, { cache: "no-store" });
      const now = answer.ok && await answer.json();
      if (now && before === presses) show(now);  // asked before a press, it would take that off the screen
    } catch { /* no answer: what is shown stays */ }
  }

  async function send(form, event) {
    event?.preventDefault();
    if (form === why.form) why.blur();  // the keys of the page work again
    if (form === why.form && !why.value.trim()) return;
    if (form === press && event) begin();
    const body = new URLSearchParams(new FormData(form));
    document.dispatchEvent(new Event("bandstand:urgent"));
    try {
      isSending = true;
      presses++;
      const answer = await fetch(form.action, { method: "POST", body }).finally(() => { isSending = false; });
      if (answer.status < 400) return look();
      form.submit();  // refused, or signed out: the page that says so
    } catch {
      // It is on here at least, and goes out as soon as the server answers.
      if (form === press) show({ on: true, reason: shown.dataset.noAnswer });
      setTimeout(() => send(form), AGAIN_MS);
    }
  }

  for (const form of [press, ...shown.querySelectorAll("form")]) form.addEventListener("submit", (event) => send(form, event));
  document.getElementById("everybody-land-shrink").addEventListener("click", () => shown.classList.add("everybody-land--strip"));
  document.addEventListener("keydown", (event) => {
    if (event.key !== "F9" || event.repeat) return;
    send(press, event);
  });
  // A press just before may bring a new page in the middle of a word: the rest of it must not press keys there.
  why.addEventListener("focus", () => sessionStorage.setItem(SAYING_WHY, "yes"));
  why.addEventListener("blur", () => document.hasFocus() && sessionStorage.removeItem(SAYING_WHY));
  if (sessionStorage.getItem(SAYING_WHY)) begin();
  document.addEventListener("visibilitychange", look);
  setInterval(look, LOOK_EVERY_MS);
  look();
})();
