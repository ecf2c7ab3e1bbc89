// A press that the server does not answer: #no-answer says so, and the page stays with what was typed on it. On a page
// that updates by itself a plain form would leave the channel on it for the browser's own error page, so the server is
// asked first whether it is there.
(() => {
  const PATIENCE_MS = 4000;
  const notice = document.getElementById("no-answer");
  const isLive = Boolean(document.querySelector("[data-stream]"));
  const asked = new WeakSet(), answered = new WeakSet();

  const say = (isSilent) => { notice.hidden = !isSilent; };

  async function isThere() {
    const patience = new AbortController(), timer = setTimeout(() => patience.abort(), PATIENCE_MS);
    try {
      await fetch("/health", { cache: "no-store", signal: patience.signal });
      return true;
    } catch {
      return false;
    } finally {
      clearTimeout(timer);
    }
  }

  // htmx has prevented the default of its own forms by now.
  document.addEventListener("submit", async (event) => {
    const form = event.target;
    if (!isLive || event.defaultPrevented || form.method !== "post" || answered.delete(form)) return;
    event.preventDefault();
    if (asked.has(form)) return;
    asked.add(form);
    const there = await isThere();
    asked.delete(form);
    say(!there);
    if (!there) return;
    answered.add(form);
    form.requestSubmit(event.submitter);
  });

  document.addEventListener("htmx:error", (event) => {
    if (event.detail.ctx && !event.detail.ctx.response) say(true);
  });
  document.addEventListener("htmx:after:request", () => say(false));
})();
